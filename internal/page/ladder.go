package page

import (
	"strconv"
	"time"

	"belay/internal/session"
	"belay/internal/wording"
)

// rungView is one stage of the ladder.
type rungView struct {
	N                    int
	Title, Purpose, Word string
	Mark                 string // done, now, skipped or next: the shape
	Span                 string
	Now                  bool
}

func ladderOf(stages []session.StageView) []rungView {
	out := make([]rungView, 0, len(stages))
	for i, s := range stages {
		r := rungView{N: i + 1, Title: wording.Plain(s.Title), Purpose: wording.Plain(s.Purpose)}
		switch s.Status {
		case "done":
			r.Mark, r.Word = "done", "done"
		case "active":
			r.Mark, r.Word, r.Now = "now", "now", true
			r.Span = minutes(s.Minutes)
		case "skipped":
			r.Mark, r.Word = "skipped", "skipped"
		default:
			r.Mark, r.Word = "next", "to come"
			r.Span = minutes(s.Minutes)
		}
		out = append(out, r)
	}
	return out
}

// entryView is one entry of the notebook.
type entryView struct {
	Key                string // the same for the same entry, whenever it is shown
	From, Who          string
	Title, Stage       string
	Time, Machine      string
	Day                string // on the first entry of a day
	Lines              [][]piece
	Superseded, Opened bool // Opened: first entry of its stage
}

var who = map[string]string{"guide": "Belay", "you": "You", "pc": "The PC"}

func entriesOf(base string, stages []session.StageView, in []session.Entry) []entryView {
	titles := map[string]string{}
	for _, s := range stages {
		titles[s.ID] = wording.Plain(s.Title)
	}
	out := make([]entryView, 0, len(in))
	last, day, nth := "", "", map[int64]int{}
	for _, e := range in {
		v := entryView{
			Key: strconv.FormatInt(e.Version, 10) + "-" + strconv.Itoa(nth[e.Version]), From: "guide", Who: who["guide"], Title: wording.Plain(e.Title), Stage: titles[e.Stage],
			Time: e.Time.Local().Format("15:04"), Machine: e.Time.UTC().Format(time.RFC3339),
			Lines: linkedAll(base, e.Lines), Superseded: e.Superseded, Opened: e.Stage != last && titles[e.Stage] != "",
		}
		if w := who[e.From]; w != "" {
			v.From, v.Who = e.From, w
		}
		nth[e.Version]++
		if d := e.Time.Local().Format("2 January 2006"); d != day {
			v.Day, day = d, d
		}
		last = e.Stage
		out = append(out, v)
	}
	return out
}
