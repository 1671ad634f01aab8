// Package calc holds the calculators: each takes a few numbers, asks one model
// and gives the result under the fixed keys of the API. The command line and
// the HTTP API are two ways to the same calculation.
//
// An input is a struct whose fields carry their JSON key, whether they are
// required and their default. The flags of the command line are the same
// names with hyphens. Every result has a list of warnings, empty when there
// is nothing to warn of, and prints itself in plain sentences.
package calc

import (
	"maps"
	"slices"
	"strings"

	"belay/internal/fault"
)

// Input is what one calculator takes. Calculate returns an Invalid fault with
// its fields where a number cannot be used.
type Input interface {
	Calculate() (Result, error)
}

// Result is what one calculator gives. It marshals to a JSON object.
type Result interface {
	// Sentences tells the result to a person, warnings included.
	Sentences() []string
}

// calculators read a JSON object and calculate.
var calculators = map[string]func([]byte) (Result, error){
	"proof":    run[Proof],
	"loadline": run[LoadLine],
	"heat":     run[Heat],
	"need":     run[Need],
	"memory":   run[Memory],
	"clocks":   run[Clocks],
	"gain":     run[Gain],
	"wear":     run[Wear],
}

// Names lists the calculators in alphabetical order.
func Names() []string { return slices.Sorted(maps.Keys(calculators)) }

// Run lets the calculator called name work on a JSON object of its inputs. It
// returns a NotFound fault for an unknown name and an Invalid one, with its
// fields, for inputs that cannot be used.
func Run(name string, body []byte) (Result, error) {
	c, ok := calculators[name]
	if !ok {
		return nil, fault.Newf(fault.NotFound, "Use one of: "+strings.Join(Names(), ", ")+".", "There is no calculator called %q.", name)
	}
	return c(body)
}

func run[T Input](body []byte) (Result, error) {
	in, err := decode[T](body)
	if err != nil {
		return nil, err
	}
	return in.Calculate()
}
