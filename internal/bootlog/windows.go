package bootlog

import (
	"encoding/xml"
	"io"
	"strconv"
	"time"

	"belay/internal/aftermath"
)

// entry is one record of the Windows System log, as its own query tool prints
// it in XML.
type entry struct {
	System struct {
		Provider struct {
			Name string `xml:"Name,attr"`
		} `xml:"Provider"`
		EventID int `xml:"EventID"`
		Time    struct {
			At string `xml:"SystemTime,attr"`
		} `xml:"TimeCreated"`
	} `xml:"System"`
	Data []struct {
		Name  string `xml:"Name,attr"`
		Value string `xml:",chardata"`
	} `xml:"EventData>Data"`
}

// number returns the value of a named item, 0 if it is missing.
func (e entry) number(name string) uint64 {
	for _, d := range e.Data {
		if d.Name == name {
			n, _ := strconv.ParseUint(d.Value, 0, 64)
			return n
		}
	}
	return 0
}

// WindowsSigns reads records of the System log from r, one event element
// after another, and returns the traces since the time given. It stops at the
// first damaged record and returns what it has.
//
// What the numbers mean is documented by the system's maker: 41 of the kernel's
// power provider, a start after an unclean stop, with the code of a stop error
// and the time at which the power button was held; 1074 who asked for a
// shutdown; 6006 and 6008 a clean and an unexpected end of the log; of the
// hardware error provider 18 and 20 fatal, 17, 19 and 47 corrected errors (from
// memory).
func WindowsSigns(r io.Reader, since time.Time) []aftermath.Sign {
	var out []aftermath.Sign
	d := xml.NewDecoder(r)
	for {
		token, err := d.Token()
		if err != nil {
			return out
		}
		start, ok := token.(xml.StartElement)
		if !ok || start.Name.Local != "Event" {
			continue
		}
		var e entry
		if err := d.DecodeElement(&e, &start); err != nil {
			return out
		}
		if at, err := time.Parse(time.RFC3339Nano, e.System.Time.At); err != nil || at.Before(since) {
			continue
		}
		if s := e.sign(); s.Kind != "" {
			out = append(out, s)
		}
	}
}

func (e entry) sign() aftermath.Sign {
	const power, hardware = "Microsoft-Windows-Kernel-Power", "Microsoft-Windows-WHEA-Logger"
	switch provider, id := e.System.Provider.Name, e.System.EventID; {
	case provider == power && id == 41 && e.number("BugcheckCode") != 0:
		return aftermath.Sign{Kind: aftermath.StopError, Detail: "The system stopped itself with error " + hex(e.number("BugcheckCode")) + "."}
	case provider == power && id == 41 && e.number("PowerButtonTimestamp") != 0:
		return aftermath.Sign{Kind: aftermath.PowerButton, Detail: "The power button was held until the PC went off."}
	case provider == power && id == 41, provider != hardware && id == 6008:
		return aftermath.Sign{Kind: aftermath.Unexpected, Detail: "The system recorded that its last stop was not orderly."}
	case provider == hardware && (id == 18 || id == 20):
		return aftermath.Sign{Kind: aftermath.HardwareError, Detail: "The system recorded a hardware error that could not be corrected."}
	case provider == hardware && (id == 17 || id == 19 || id == 47):
		return aftermath.Sign{Kind: aftermath.CorrectedError, Detail: "The system recorded a hardware error that was corrected."}
	case id == 1074:
		return aftermath.Sign{Kind: aftermath.CleanStop, Detail: "A person or a program asked for a shutdown or restart."}
	case id == 6006:
		return aftermath.Sign{Kind: aftermath.CleanStop, Detail: "The system recorded an orderly stop."}
	}
	return aftermath.Sign{}
}
