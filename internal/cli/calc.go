package cli

import (
	"io"
	"os"
	"strings"

	"belay/internal/calc"
	"belay/internal/fault"
)

// calcCommands are the models as calculators.
type calcCommands struct {
	Proof    calculation[calc.Proof]    `cmd:"" help:"What clean hours and failures show, without any model."`
	Loadline calculation[calc.LoadLine] `cmd:"" help:"The load line from readings, and the voltage to set."`
	Heat     calculation[calc.Heat]     `cmd:"" help:"Where temperature and power settle, or whether they run away."`
	Need     needCalculation            `cmd:"" help:"The load voltage that each ratio needs, from trials."`
	Memory   calculation[calc.Memory]   `cmd:"" help:"What memory timings mean in time, and which rules they break."`
	Clocks   calculation[calc.Clocks]   `cmd:"" help:"How many whole clocks a time takes."`
	Gain     calculation[calc.Gain]     `cmd:"" help:"Whether scores after a change are better than before."`
	Wear     calculation[calc.Wear]     `cmd:"" help:"How much faster one setting ages the processor than another."`
}

// calculation is one calculator with its inputs as flags.
type calculation[T calc.Input] struct {
	In   T    `embed:""`
	JSON bool `name:"json" help:"Print JSON."`
}

// Run calculates and prints the result.
func (x *calculation[T]) Run(c *call) error { return c.calculate(x.In, x.JSON) }

type needCalculation struct {
	calculation[calc.Need] `embed:""`
	Trials                 string `required:"" placeholder:"FILE" help:"Trials as JSON lines. A single hyphen reads standard input."`
}

// Run reads the trials and calculates.
func (n *needCalculation) Run(c *call) error {
	text, err := trialsFrom(n.Trials)
	if err != nil {
		return err
	}
	if n.In.Trials, err = calc.ReadTrials(text); err != nil {
		return misusedBy{err}
	}
	return n.calculation.Run(c)
}

// maxTrials is how much of a file of trials is read, in bytes. Chosen: many
// times the largest number of trials that is taken.
const maxTrials = 1 << 20

func trialsFrom(path string) ([]byte, error) {
	if path != "-" {
		return readFile(path)
	}
	text, err := io.ReadAll(io.LimitReader(os.Stdin, maxTrials))
	if err != nil {
		return nil, unreadable("standard input", err)
	}
	return text, nil
}

// calculate prints a result as sentences, or as JSON. A number that cannot be
// used is a wrong command line.
func (c *call) calculate(in calc.Input, asJSON bool) error {
	r, err := in.Calculate()
	switch {
	case fault.Is(err, fault.Invalid):
		return misusedBy{err}
	case err != nil:
		return err
	case asJSON:
		return c.json(r)
	}
	return c.printf("%s\n", strings.Join(r.Sentences(), "\n"))
}

// misusedBy marks a fault of what was typed.
type misusedBy struct{ error }

func (m misusedBy) Unwrap() error { return m.error }
