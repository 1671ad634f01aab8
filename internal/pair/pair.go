// Package pair lets a phone in for a while. The PC shows a code, the phone
// sends it, and the PC confirms which device that was. Codes, devices and
// their secrets live in memory only: they end with the time in the local
// network, and with Belay.
package pair

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"

	"belay/internal/fault"
)

// Bounds of pairing. The alphabet is that of RFC 8628, section 6.1: no vowels,
// so no words, and no letters that look alike. 8 letters are 34.6 bits. Five
// guesses at 20^8 codes succeed with a chance of 2e-10. Life, guesses and
// hours are chosen.
const (
	alphabet     = "BCDFGHJKLMNPQRSTVWXZ"
	codeLetters  = 8
	CodeLife     = 10 * time.Minute // also of a request that waits
	WrongPerCode = 5
	TriesPerHour = 20
	SessionLife  = 12 * time.Hour
	longestName  = 40 // characters
)

// Code is what the PC shows.
type Code struct {
	Text  string // BCDF-GHJK, for typing
	Token string // 128 bits in hexadecimal, for the picture code
	Until time.Time
}

// Asking is a device that sent the right code and waits for the PC.
type Asking struct {
	ID, Name, Address string
	Until             time.Time
}

// Device is one that was let in.
type Device struct {
	ID, Name, Address string
	Until             time.Time
}

// State is what became of a request.
type State int

// The states of a request.
const (
	Refused State = iota
	Waiting
	LetIn
)

// Faults of a device that asks. A wrong, an old and a used code get the same.
var (
	ErrWrong = fault.New(fault.Denied, "This code does not fit.", "Look at the code on the PC. It holds for 10 minutes and works once.")
	ErrMany  = fault.New(fault.Limit, "Too many codes were tried.", "Let the PC show a new code. After 20 tries, wait an hour.")
	errOff   = fault.New(fault.Denied, "Belay does not let phones in now.", "Start it on the PC with --lan.")
	errGone  = fault.New(fault.NotFound, "This device does not wait or was removed.", "Look at the list again.")
)

type asking struct {
	Asking
	ticket string
	state  State
}

type device struct {
	Device
	secret string
	ctx    context.Context
	end    context.CancelFunc
}

// Desk decides who comes in. It is safe for concurrent use.
type Desk struct {
	now     func() time.Time
	mu      sync.Mutex
	address string // host:port in the local network, "" when it is off
	until   time.Time
	code    *Code
	wrong   int
	burnt   bool
	tries   []time.Time
	notice  string
	asking  []*asking
	devices []*device
}

// New returns a desk that lets nobody in until Open.
func New(now func() time.Time) *Desk { return &Desk{now: now} }

// Open lets devices ask at an address for at most SessionLife.
func (d *Desk) Open(address string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.address, d.until = address, d.now().Add(SessionLife)
}

// Close ends the time in the local network, and every device's session.
func (d *Desk) Close() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.close()
}

func (d *Desk) close() {
	for _, x := range d.devices {
		x.end()
	}
	d.address, d.code, d.asking, d.devices, d.notice = "", nil, nil, nil, ""
}

// tidy drops what has run out.
func (d *Desk) tidy() {
	now := d.now()
	if d.address != "" && !now.Before(d.until) {
		d.close()
	}
	if d.code != nil && !now.Before(d.code.Until) {
		d.code = nil
	}
	d.asking = slices.DeleteFunc(d.asking, func(a *asking) bool { return !now.Before(a.Until) })
	d.devices = slices.DeleteFunc(d.devices, func(x *device) bool {
		if now.Before(x.Until) {
			return false
		}
		x.end()
		return true
	})
	d.tries = slices.DeleteFunc(d.tries, func(t time.Time) bool { return now.Sub(t) >= time.Hour })
}

// View is what the PC shows.
type View struct {
	Address string // "" when it is off
	Until   time.Time
	Code    *Code
	Asking  []Asking
	Devices []Device
	Notice  string // what a person should know of tries that failed
}

// View returns how things stand.
func (d *Desk) View() View {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tidy()
	v := View{Address: d.address, Until: d.until, Notice: d.notice}
	if d.code != nil {
		c := *d.code
		v.Code = &c
	}
	for _, a := range d.asking {
		if a.state == Waiting {
			v.Asking = append(v.Asking, a.Asking)
		}
	}
	for _, x := range d.devices {
		v.Devices = append(v.Devices, x.Device)
	}
	return v
}

// Address is where phones reach Belay, or "".
func (d *Desk) Address() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tidy()
	return d.address
}

// Show makes a new code. One that was shown before ends.
func (d *Desk) Show() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tidy()
	if d.address == "" {
		return errOff
	}
	d.code = &Code{Text: newText(), Token: secret(), Until: d.now().Add(CodeLife)}
	d.wrong, d.burnt, d.notice = 0, false, ""
	return nil
}

// Ask takes the code that a device sends, typed or from the picture, and
// returns the ticket under which it waits. A right code is used up.
func (d *Desk) Ask(given, name, address string) (ticket string, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tidy()
	if d.address == "" {
		return "", errOff
	}
	if len(d.tries) >= TriesPerHour {
		d.burn("More than 20 codes were tried within an hour. The last try came from " + address + ".")
		return "", ErrMany
	}
	d.tries = append(d.tries, d.now())
	if d.burnt {
		return "", ErrMany
	}
	if d.code == nil {
		return "", ErrWrong
	}
	if !d.code.fits(given) {
		if d.wrong++; d.wrong >= WrongPerCode {
			d.burn("Five wrong codes were tried, the last one from " + address + ". The code that was shown no longer works.")
		}
		return "", ErrWrong
	}
	d.code = nil
	a := &asking{Asking{secret()[:8], cleanName(name), address, d.now().Add(CodeLife)}, secret(), Waiting}
	d.asking = append(d.asking, a)
	return a.ticket, nil
}

func (d *Desk) burn(notice string) {
	d.code, d.burnt, d.notice = nil, true, notice
}

func (c *Code) fits(given string) bool {
	letters := strings.Map(func(r rune) rune {
		if r == '-' || unicode.IsSpace(r) {
			return -1
		}
		return unicode.ToUpper(r)
	}, given)
	typed := same(letters, strings.ReplaceAll(c.Text, "-", ""))
	return same(strings.ToLower(letters), c.Token) || typed
}

// Decide lets a waiting device in, or not.
func (d *Desk) Decide(id string, in bool) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tidy()
	for _, a := range d.asking {
		if a.ID == id && a.state == Waiting {
			a.state = Refused
			if in {
				a.state = LetIn
			}
			return nil
		}
	}
	return errGone
}

// Claim tells a device what became of its request. The first time after it
// was let in, it gets the secret of its session.
func (d *Desk) Claim(ticket string) (session string, state State) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tidy()
	for i, a := range d.asking {
		if !same(a.ticket, ticket) {
			continue
		}
		if a.state != LetIn {
			return "", a.state
		}
		d.asking = slices.Delete(d.asking, i, i+1)
		until := d.now().Add(SessionLife)
		if until.After(d.until) {
			until = d.until
		}
		ctx, end := context.WithCancel(context.Background())
		x := &device{Device{a.ID, a.Name, a.Address, until}, secret(), ctx, end}
		d.devices = append(d.devices, x)
		return x.secret, LetIn
	}
	return "", Refused
}

// Known returns a context that ends with the session, if there is one.
func (d *Desk) Known(session string) (context.Context, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tidy()
	for _, x := range d.devices {
		if same(x.secret, session) {
			return x.ctx, true
		}
	}
	return nil, false
}

// Remove ends the session of a device.
func (d *Desk) Remove(id string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tidy()
	for i, x := range d.devices {
		if x.ID == id {
			x.end()
			d.devices = slices.Delete(d.devices, i, i+1)
			return nil
		}
	}
	return errGone
}

func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// secret is 128 random bits in hexadecimal.
func secret() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails since Go 1.24
	return hex.EncodeToString(b[:])
}

// newText draws letters evenly: bytes from 240 on would favour some.
func newText() string {
	var text []byte
	for len(text) < codeLetters {
		var b [1]byte
		_, _ = rand.Read(b[:]) // never fails since Go 1.24
		if n := len(alphabet); int(b[0]) < 256/n*n {
			text = append(text, alphabet[int(b[0])%n])
		}
	}
	return string(text[:codeLetters/2]) + "-" + string(text[codeLetters/2:])
}

// cleanName keeps what prints of a name that a device gives itself.
func cleanName(name string) string {
	name = strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || unicode.Is(unicode.Bidi_Control, r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(name, "")))
	if r := []rune(name); len(r) > longestName {
		name = string(r[:longestName])
	}
	if name == "" {
		return "A device without a name"
	}
	return name
}
