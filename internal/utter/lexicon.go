package utter

import "strings"

// name is a way to name a field. The first group with a field of the prompt
// is meant; several of one group leave it open.
type name struct {
	words  string
	parts  []string
	groups []string // field names, parted by blanks
	after  bool     // only behind its number: "82 core"
}

const (
	coreVolts = "set_voltage_v load_voltage_v"
	allVolts  = "set_voltage_v load_voltage_v dram_voltage_v kit_voltage_v"
	ramVolts  = "dram_voltage_v kit_voltage_v"
	anyTemp   = "core_temp_c air_temp_c temp_limit_c"
)

// names are the usual words of newcomers for the fields of the guide. Fields
// that are not listed go by their label and by the glossary.
var names = build(map[string][]string{
	"core voltage|vcore|v core|cpu voltage|cpu volts|core volts|core volt|processor voltage|voltage set|set voltage|cpu v": {coreVolts},
	"load voltage|load volts|loaded voltage|voltage under load|volts under load|vcore under load|measured|measured voltage|" +
		"core voltage under load|under load voltage|vcore load|sensor voltage|voltage at load": {"load_voltage_v"},
	"voltage|volts|volt|v": {allVolts, "offset_v"},
	"memory voltage|dram voltage|dram|ram voltage|ddr voltage|dimm voltage|vdd|memory volts|ram volts|kit voltage": {ramVolts},
	"voltage offset|offset voltage|core offset": {"offset_v"},
	"offset": {"wide_vector_offset", "offset_v"},
	"vector offset|wide vector offset|wide offset": {"wide_vector_offset"},
	"low end|lift|low end lift|low end voltage":    {"low_end_mv"},
	"ratio|multiplier|multi|core ratio|core multiplier|all core|all core ratio|all cores|cores ratio|cpu ratio|core": {"ratio", "stock_ratio", "cache_ratio stock_cache_ratio"},
	"stock ratio": {"stock_ratio", "ratio"},
	"cache|cache ratio|ring|ring ratio|uncore|uncore ratio|cache multiplier|stock cache ratio|cache ratio stock": {"cache_ratio", "stock_cache_ratio"},
	"base clock|bclk|base": {"base_clock_mhz"},
	"tjmax|tj max|temperature limit|temp limit|max temperature allowed|maximum junction temperature": {"temp_limit_c"},
	"temp|temps|temperature|temperatures|degrees celsius":                                            {anyTemp},
	"hottest core|core temp|core temperature|cpu temp|cpu temperature|hottest|max temp|maximum temperature|max temperature|" +
		"peak temp|package temp|core temps|cpu temps|hottest core temp|highest core|highest temp|hotspot|cpu": {"core_temp_c"},
	"air|room|ambient|air temperature|room temperature|room temp|ambient temp|air temp|ambient temperature|intake|in the room": {"air_temp_c"},
	"power|package power|watts|wattage|power draw|consumption|cpu power|package|drew|pulled|pulling|drawing|pulls":             {"package_power_w", "supply_w"},
	"power supply|psu|supply": {"supply_w"},
	"sustained|sustained limit|sustained power limit|pl1|long duration|long|long duration power limit|long limit|long term": {"sustained_limit_w stock_sustained_limit_w"},
	"short|short limit|short power limit|pl2|short duration|short duration power limit|short term|burst":                    {"short_limit_w"},
	"power limit|limit": {"sustained_limit_w stock_sustained_limit_w short_limit_w"},
	"clock|core clock|frequency|freq|speed|clock speed|clocks|clocked":                                            {"clock_mhz", "data_rate_mts kit_rate_mts"},
	"ddr4|ddr5|data rate|memory speed|rate|memory rate|ram speed|memory frequency|memory clock|transfer rate|ram": {"data_rate_mts kit_rate_mts"},
	"memory":                     {"data_rate_mts kit_rate_mts memory_gb"},
	"score|points|result|scored": {"score"},
	"errors found|error count|number of errors":          {"errors_found"},
	"coverage|covered|memory covered|tested|coverage gb": {"coverage_gb"},
	"time to failure|failure time|time until failure":    {"minutes_to_failure"},
	"run time|runtime|time|duration|time that it ran":    {"minutes", "hours"},
	"core count|cores|number of cores":                   {"core_count"},
	"modules|sticks|number of modules|dimms":             {"memory_modules"},
	"size|memory size|capacity":                          {"memory_gb"},
	"cl|cas|cas latency|tcl":                             {"cl kit_cl"},
	"trcd|rcd|ras to cas":                                {"trcd kit_trcd"},
	"trp|rp|row precharge":                               {"trp kit_trp"},
	"tras|ras|row active":                                {"tras kit_tras"},
	"hours":                                              {"hours"},
})

// behind are names that count only behind their number.
var behind = map[string]string{"core": "core_temp_c"}

func build(table map[string][]string) []name {
	var out []name
	for phrases, groups := range table {
		for _, p := range strings.Split(phrases, "|") {
			out = append(out, name{words: p, parts: strings.Fields(p), groups: groups})
		}
	}
	for p, field := range behind {
		out = append(out, name{words: p, parts: strings.Fields(p), groups: []string{field}, after: true})
	}
	return sortNames(out)
}

// countNouns count things: the number stands before them.
var countNouns = map[string]string{
	"cores": "core_count", "core": "core_count", "sticks": "memory_modules", "stick": "memory_modules", "modules": "memory_modules", "module": "memory_modules",
	"dimms": "memory_modules", "errors": "errors_found", "error": "errors_found", "points": "score", "pts": "score",
}

// unitWords turn what people write into a unit that units.Parse accepts.
var unitWords = map[string]string{
	"v": "v", "volt": "v", "volts": "v", "mv": "mv", "millivolt": "mv", "millivolts": "mv",
	"mhz": "mhz", "megahertz": "mhz", "ghz": "ghz", "gigahertz": "ghz",
	"w": "w", "watt": "w", "watts": "w", "c": "c", "°c": "c", "°": "c", "deg": "c", "degree": "c", "degrees": "c", "celsius": "c", "celcius": "c", "centigrade": "c", "degc": "c",
	"f": "f", "°f": "f", "fahrenheit": "f", "degf": "f",
	"min": "min", "mins": "min", "minute": "min", "minutes": "min", "minuts": "min",
	"h": "h", "hr": "h", "hrs": "h", "hour": "h", "hours": "h", "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
	"mt/s": "mt/s", "mts": "mt/s", "gb": "gb", "gig": "gb", "gigs": "gb", "gigabyte": "gb", "gigabytes": "gb", "gib": "gb",
	"clk": "clk", "clocks": "clk", "x": "x",
}

// foreign are units of things that no field asks for. A number with one of
// them is left aside.
var foreign = strings.Fields("threads thread rpm fps amps amp a ma kelvin k kw mw % percent times time pm am oclock days day weeks week " +
	"attempts attempt tries try levels level steps step runs run passes pass th st nd rd months month years year euro dollars bucks " +
	"mb tb ohm ns ms fans fan reboots crashes freezes restarts nights night ghs people friends")

// before are words whose number is a name, not a value: "step 3".
var before = strings.Fields("step stage page windows linux code line number no version core# error# whea phase attempt day part trial test ddr slot profile bank channel option choice")

// filler are words that say nothing about a value.
var filler = strings.Fields("the a an is it its was were are be been i my me we and with to of on for that this there then so just now here " +
	"at as by do did does have has had got get gets getting shows showed show says said reads read showing reading set sets typed type entered enter " +
	"in under load after during while hit hits reached reach went goes go came come up down finished ran run running full whole right " +
	"cpu core cores all pc computer machine system screen value values exactly only one about around roughly approx approximately circa some " +
	"ok okay yes yeah yep well um uh hmm hey please also plus both into still again too very really quite when where until till whole entire " +
	"max maximum peak peaked highest top test trial stress load loaded memory ram kit new put gave give tells told see saw seen looks like " +
	"degrees celsius temp temperature voltage volts raised lowered changed change reset firmware bios uefi setup setting settings mode " +
	"how what outcome three two scores score result results done today tonight me kept stayed steady constant stable near end total minutes min " +
	"proper final finally first second hottest level timings timing speed stock cooler psu supply sure think guess lol haha thanks cheers " +
	"reported reports put rounded label scored points trouble wrote written pc cpu whats my watt like " +
	"pages page random randomly own itself idle cool fully boring weird sudden suddenly spontaneous spontaneously " +
	"override manual static adaptive offset fixed me mine our your you tested covered completely fully from per ddr4 ddr5 sticks modules exact")

var fillerSet = setOf(filler)
var foreignSet = setOf(foreign)

func setOf(list []string) map[string]bool {
	out := make(map[string]bool, len(list))
	for _, w := range list {
		out[w] = true
	}
	return out
}
