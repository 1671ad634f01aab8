package sensorlog

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf16"
)

// row is one second of an invented trial: 10 s of rest, 50 s of load, 10 s of
// rest. Every shape below writes these same readings, so that every shape has
// to reduce to the same: 1.212 V, 78 °C, 151 W, 4800 MHz.
type row struct{ v, t, p, c, b float64 }

const rowCount = 70

func readings(i int) row {
	if i < 10 || i >= 60 {
		return row{0.85, 35, 15, 1200, 3}
	}
	return row{1.212, math.Min(78, 50+2*float64(i-10)), 151, 4800, 100}
}

// table writes a heading and the readings, one line each.
func table(head string, line func(i int, r row) string) string {
	var b strings.Builder
	b.WriteString(head + "\n")
	for i := range rowCount {
		b.WriteString(line(i, readings(i)) + "\n")
	}
	return b.String()
}

// stamp is a time of day some seconds after from.
func stamp(from, i int) string {
	s := (from + i) % 86400
	return fmt.Sprintf("%02d:%02d:%02d", s/3600, s/60%60, s%60)
}

func german(x float64) string { return strings.Replace(fmt.Sprintf("%.3f", x), ".", ",", 1) }

func latin1(s string) string {
	var b []byte
	for _, r := range s {
		b = append(b, byte(r))
	}
	return string(b)
}

func wide16(s string, big, mark bool) string {
	var b []byte
	put := func(u uint16) {
		if big {
			b = append(b, byte(u>>8), byte(u))
		} else {
			b = append(b, byte(u), byte(u>>8))
		}
	}
	if mark {
		put(0xFEFF)
	}
	for _, u := range utf16.Encode([]rune(s)) {
		put(u)
	}
	return string(b)
}

const plainHead = "Time,CPU Core Voltage [V],CPU Package [°C],CPU Package Power [W],Core Clock [MHz],Total CPU Usage [%]"

func plainLine(i int, r row) string {
	return fmt.Sprintf("%s,%.3f,%.0f,%.1f,%.0f,%.0f", stamp(64800, i), r.v, r.t, r.p, r.c, r.b)
}

// shapes are the same trial in the forms that loggers write.
func shapes() map[string]string {
	plain := table(plainHead, plainLine)
	semicolon := table("Datum;Uhrzeit;Kernspannung CPU (V);CPU-Temperatur (°C);CPU-Leistung (W);CPU-Takt (MHz)", func(i int, r row) string {
		return fmt.Sprintf("28.11.2026;%s;%s;%s;%s;%s", stamp(3600, i), german(r.v), german(r.t), german(r.p), german(r.c))
	})
	many := func(i int, cell func(k int) string) string {
		cells := make([]string, 194)
		for k := range cells {
			cells[k] = cell(k)
		}
		return strings.Join(cells, ",")
	}
	return map[string]string{
		"plain":                    plain,
		"windows line ends":        strings.ReplaceAll(plain, "\n", "\r\n"),
		"semicolon, comma, latin1": latin1(semicolon),
		"utf-8 with mark":          "\ufeff" + semicolon,
		"utf-16 little, mark":      wide16(strings.ReplaceAll(plain, ",", "\t"), false, true),
		"utf-16 big, no mark":      wide16(plain, true, false),
		"preamble and hint": "sep=;\nSensor record of a bench PC\nStarted;28.11.2026 18:00\n\n" + table("Time;Vcore [V];CPU Die [°C];CPU Package [W];CPU Clock [MHz]", func(i int, r row) string {
			return fmt.Sprintf("28/11/2026 %s.%03d;%.3f;%.1f;%.1f;%.0f", stamp(64800, i), i, r.v, r.t, r.p, r.c)
		}),
		"groups, names and units in three rows": ",CPU,,,,GPU\n" + table("Time,Core Voltage,Package Temperature,Package Power,Core Clock,Temperature\ns,V,°C,W,MHz,°C", func(i int, r row) string {
			return fmt.Sprintf("%d,%.3f,%.0f,%.1f,%.0f,91", i, r.v, r.t, r.p, r.c)
		}),
		"units in the cells": table("Timestamp,Vcore,CPU Package Temp,CPU Package Power,CPU Core Clock", func(i int, r row) string {
			return fmt.Sprintf("2026-11-28T%sZ,%.3f V,%.0f °C,%.1f W,%.1f MHz", stamp(64800, i), r.v, r.t, r.p, r.c)
		}),
		"other units, time in milliseconds": table("timestamp_ms,vcore_mv,cpu_temp_f,cpu_package_power_mw,cpu_clock_ghz", func(i int, r row) string {
			return fmt.Sprintf("%d,%.0f,%.1f,%.0f,%.2f", 1795888800000+int64(i)*1000, r.v*1000, r.t*9/5+32, r.p*1000, r.c/1000)
		}),
		"cores one by one, with extremes": table("Elapsed [s],Core Voltage min [V],CPU Core Voltage [V],Core 0 VID [V],"+
			"Core 0 [°C],Core 1 [°C],Core 0 Distance to limit [°C],CPU Package Power avg [W],CPU Package Power [W],Package Power Limit [W],"+
			"Core 0 Clock [MHz],Core 1 Clock [MHz],Core 2 Clock [MHz],Bus Clock [MHz],Core Thermal Throttling [Yes/No]",
			func(i int, r row) string {
				return fmt.Sprintf("%.1f,0.7,%.3f,1.4,%.0f,%.0f,20,80,%.1f,253,%.0f,%.0f,%.0f,100,No", float64(i), r.v, r.t-3, r.t, r.p, r.c, r.c, 800.0)
			}),
		"200 columns": table(plainHead+","+many(0, func(k int) string { return fmt.Sprintf("Board Sensor %d [mV]", k) }), func(i int, r row) string {
			return plainLine(i, r) + "," + many(i, func(k int) string { return fmt.Sprint(1000 + (i*k)%50) })
		}),
		"headings again, empty lines, gaps": plainHead + "\n" + func() string {
			var b strings.Builder
			for i := range rowCount {
				switch {
				case i%20 == 0:
					b.WriteString("\n" + plainHead + "\n")
				case i >= 30 && i < 38: // eight seconds are missing
					continue
				case i == 45:
					b.WriteString(stamp(64800, i) + ",N/A,-,,NaN,\n")
					continue
				}
				b.WriteString(plainLine(i, readings(i)) + "\n")
			}
			return b.String()
		}(),
		"twelve hours, past midnight": table("Date,Time,CPU Core Voltage (V),CPU Package (°C),CPU Package Power (W),Core Clock (MHz)", func(i int, r row) string {
			s := (86400 - 30 + i) % 86400
			half, hour := "AM", s/3600
			if hour >= 12 {
				half, hour = "PM", hour-12
			}
			if hour == 0 {
				hour = 12
			}
			return fmt.Sprintf("11/28/2026,%d:%02d:%02d %s,%.3f,%.0f,%.1f,%.0f", hour, s/60%60, s%60, half, r.v, r.t, r.p, r.c)
		}),
		"quoted, decimal comma between commas": table(`"Time","CPU Core Voltage [V]","CPU Package [°C]","CPU Package Power [W]","Core Clock [MHz]"`, func(i int, r row) string {
			return fmt.Sprintf(`"%s","%s","%s","%s","%s"`, stamp(0, i), german(r.v), german(r.t), german(r.p), german(r.c))
		}),
		"columns move while it runs": func() string {
			b := plainHead + "\n"
			for i := range rowCount {
				r := readings(i)
				if i == 40 {
					b += "Time,New Sensor,Core Clock [MHz],CPU Core Voltage [V],CPU Package [°C],CPU Package Power [W],Total CPU Usage [%]\n"
				}
				if i < 40 {
					b += plainLine(i, r) + "\n"
				} else {
					b += fmt.Sprintf("%s,7,%.0f,%.3f,%.0f,%.1f,%.0f\n", stamp(64800, i), r.c, r.v, r.t, r.p, r.b)
				}
			}
			return b
		}(),
		"clock set back an hour": table(plainHead, func(i int, r row) string {
			if i >= 35 {
				return strings.Replace(plainLine(i, r), "18:", "17:", 1)
			}
			return plainLine(i, r)
		}),
		"no times, bars, a summary below": table("Vcore [V]|CPU Package [°C]|CPU Package Power [W]|Core Clock [MHz]|", func(i int, r row) string {
			return fmt.Sprintf("%.3f|%.0f|%.1f|%.0f|", r.v, r.t, r.p, r.c)
		}) + "\nMaximum values below\nend of record|done\n",
		"days as a spreadsheet counts": table("Time;Vcore [V];CPU [°C];CPU Package [W];CPU Clock [MHz]", func(i int, r row) string {
			return fmt.Sprintf("%.8f;%.3f;%.0f;%.1f;%.0f", 46354.75+float64(i)/86400, r.v, r.t, r.p, r.c)
		}),
		"ten rows a second": func() string {
			b := plainHead + "\n"
			for i := range rowCount * 10 {
				r := readings(i / 10)
				b += fmt.Sprintf("%s.%d,%.3f,%.0f,%.1f,%.0f,%.0f\n", stamp(64800, i/10), i%10, r.v, r.t, r.p, r.c, r.b)
			}
			return b
		}(),
		"grouped thousands": table("Time\tVcore [V]\tCPU Package [°C]\tCPU Package Power [W]\tCore Clock [MHz]", func(i int, r row) string {
			clock := fmt.Sprintf("%.1f", r.c)
			return fmt.Sprintf("%s\t%.3f\t%.1f\t%.1f\t%s", stamp(0, i), r.v, r.t, r.p, clock[:1]+","+clock[1:])
		}),
		"a stray quote": strings.Replace(plain, "18:00:20,", "18:00:20,\"", 1),
	}
}
