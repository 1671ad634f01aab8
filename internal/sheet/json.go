package sheet

import (
	"bytes"
	"encoding/json"
	"time"

	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/trial"
)

type jsonSheet struct {
	Settings    map[string]any    `json:"settings"`
	Proof       jsonProof         `json:"proof"`
	Conditions  jsonConditions    `json:"conditions"`
	Gains       session.Gains     `json:"gains"`
	BackToStock []string          `json:"back_to_stock"`
	Recheck     []recheck         `json:"recheck"`
	Cautions    []session.Caution `json:"cautions"`
	Stock       map[string]any    `json:"stock"`
}

type jsonProof struct {
	Sentence       string               `json:"sentence"`
	NotProven      string               `json:"not_proven"`
	OtherThanKeep  string               `json:"other_than_keep,omitempty"`
	ModelFreeMTBFH float64              `json:"model_free_mtbf_h"`
	CleanHours     float64              `json:"clean_hours"`
	Load           trial.Load           `json:"load,omitempty"`
	TargetMTBFH    float64              `json:"target_mtbf_h,omitempty"`
	Confidence     *float64             `json:"confidence"`
	ReserveMV      *float64             `json:"reserve_mv"`
	Need           *session.NeedAt      `json:"need"` // of the ratio to enter
	Wear           *session.Wear        `json:"wear"` // against stock
	Odd            []session.OddFailure `json:"odd_failures"`
	BySetting      map[string]proof     `json:"by_setting"`
}

type jsonConditions struct {
	Title      string        `json:"title"`
	Session    string        `json:"session"`
	Notices    []string      `json:"notices"`
	Practice   bool          `json:"practice"`
	Finished   bool          `json:"finished"`
	Made       time.Time     `json:"made"`
	Firmware   string        `json:"firmware_version"`
	AirTempC   *float64      `json:"air_temp_c"`
	HottestC   float64       `json:"hottest_c,omitzero"`
	MostPowerW float64       `json:"most_power_w,omitzero"`
	Machine    trial.Machine `json:"machine"`
	Note       string        `json:"note"`
}

// afterReset is the first reason to check again.
const afterReset = "The firmware settings were reset"

// JSON returns the sheet for programs. Keys are settings, proof, conditions,
// gains, back_to_stock, recheck, cautions and stock. In stock null is
// automatic; a setting that is not in settings stays as delivered.
func JSON(d Data) ([]byte, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	s := jsonSheet{
		Settings: map[string]any{}, Stock: map[string]any{},
		Proof: d.jsonProof(), Conditions: d.jsonConditions(), Gains: d.measured(),
		BackToStock: backToStock(), Cautions: d.cautions(),
		Recheck: append([]recheck{{afterReset, d.reEnter()}}, d.rechecks()...),
	}
	for _, e := range entries {
		s.Stock[e.name] = e.value(d.Stock)
		if !e.set(d.Settings) {
			continue
		}
		if e.text != nil {
			s.Settings[e.name] = e.text(d.Settings)
		} else {
			s.Settings[e.name] = e.number(d.Settings)
		}
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetIndent("", "  ")
	if err := enc.Encode(s); err != nil {
		return nil, fault.New(fault.Invalid, "A number in the evidence cannot be written.", "Make the sheet in another format.").Because(err)
	}
	return b.Bytes(), nil
}

func (d Data) jsonProof() jsonProof {
	p := jsonProof{
		Sentence: d.proven(), NotProven: d.notProven(), OtherThanKeep: d.otherThanKeep(),
		ModelFreeMTBFH: d.Evidence.Proof.ModelFreeMTBFH, CleanHours: d.Evidence.Proof.CleanHours,
		Need: d.needOfKeep(), Wear: d.Evidence.Now.Wear, Odd: append([]session.OddFailure{}, d.Evidence.Now.Odd...),
		BySetting: map[string]proof{},
	}
	if k := d.Evidence.Keep; k != nil {
		p.Load, p.TargetMTBFH, p.Confidence, p.ReserveMV = k.Load, k.TargetH, k.Confidence, k.ReserveMV
	}
	for _, e := range entries {
		if e.set(d.Settings) {
			p.BySetting[e.name] = proofOf(e.group, d.Settings, d.Trials)
		}
	}
	return p
}

func (d Data) jsonConditions() jsonConditions {
	c := jsonConditions{
		Title: d.Title, Session: d.SessionID, Practice: d.Practice, Finished: d.Finished,
		Made: d.Made, Firmware: d.firmware(), Machine: d.Machine, Note: d.Note,
		Notices: append([]string{}, d.banners()...),
	}
	if d.AirTemp != 0 {
		t := float64(d.AirTemp)
		c.AirTempC = &t
	}
	if h := d.Evidence.Heat; h != nil {
		c.HottestC, c.MostPowerW = h.HottestC, h.MostPowerW
	}
	return c
}
