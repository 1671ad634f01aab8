package flow

import (
	"errors"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/vm"

	"belay/internal/fault"
	"belay/internal/trial"
)

// Condition is a compiled expression over the answer, the facts and the
// search of a state. It is safe to use from many goroutines.
type Condition struct {
	Source string

	program *vm.Program
	env     reflect.Type
	asks    []ask               // what it reads
	equals  map[string][]string // values that "answer.NAME" is said to equal
}

// ask is a field that a condition may read.
type ask struct {
	name string
	kind string
	open bool // may be left open: reads as 0, "" or false
}

// goType is the type of an answer of this kind inside a condition, nil for
// kinds that a condition cannot read.
func goType(kind string) reflect.Type {
	switch kind {
	case number:
		return reflect.TypeFor[float64]()
	case choice, text:
		return reflect.TypeFor[string]()
	case yesno:
		return reflect.TypeFor[bool]()
	}
	return nil
}

// environment builds the typed environment of a condition.
func environment(asks []ask) reflect.Type {
	fields := make([]reflect.StructField, 0, len(asks))
	for i, a := range asks {
		fields = append(fields, reflect.StructField{
			Name: "F" + strconv.Itoa(i), Type: goType(a.kind),
			Tag: reflect.StructTag(`expr:` + strconv.Quote(a.name)),
		})
	}
	return reflect.StructOf([]reflect.StructField{
		{Name: "Answer", Type: reflect.StructOf(fields), Tag: `expr:"answer"`},
		{Name: "Fact", Type: reflect.TypeFor[Facts](), Tag: `expr:"fact"`},
		{Name: "Plan", Type: reflect.TypeFor[Plan](), Tag: `expr:"plan"`},
	})
}

// misfit is what is wrong with a condition, at a character of its source.
type misfit struct {
	at            int
	message, next string
}

// scope is what the place of a condition lets it ask.
type scope struct {
	asks    []ask
	hasPlan bool
	field   func(name string) *Field // nil for an unknown name
	stages  []string
}

// compile checks the source against what conditions may hold and what this
// one may ask, and compiles it.
func compile(source string, in scope) (*Condition, *misfit) {
	c := &Condition{Source: source, equals: map[string][]string{}}
	read, bad := c.inspect(in)
	if bad != nil {
		return nil, bad
	}
	for _, a := range in.asks {
		if slices.Contains(read, a.name) {
			c.asks = append(c.asks, a)
		}
	}
	c.env = environment(c.asks)
	program, err := expr.Compile(source,
		expr.Env(reflect.Zero(c.env).Interface()), expr.AsBool(), expr.DisableAllBuiltins(), expr.MaxNodes(maxNodes))
	if err != nil {
		return nil, misfitOf(err)
	}
	c.program = program
	return c, nil
}

var (
	goTypes    = regexp.MustCompile(`\b(float64|int|string|bool)\b`)
	plainTypes = map[string]string{"float64": "a number", "int": "a number", "string": "a text", "bool": "true or false"}
	plainWords = strings.NewReplacer("mismatched types", "it joins", "expected bool, but got", "it gives")
)

// plain says the types of an expression in a person's words.
func plain(message string) string {
	return goTypes.ReplaceAllStringFunc(plainWords.Replace(message), func(t string) string { return plainTypes[t] })
}

// misfitOf turns an error of the expression library into a misfit.
func misfitOf(err error) *misfit {
	var known *file.Error
	if errors.As(err, &known) {
		return &misfit{known.From, "The condition does not fit: " + plain(known.Message) + ".", "Compare a value with one of its own kind: a number, a text in quotes, true or false."}
	}
	return &misfit{0, "The condition is neither true nor false: " + plain(err.Error()) + ".", "Compare the value with something, such as > 0."}
}

// Holds evaluates the condition. An error means that it could not be decided:
// a fault of the flow or of the answer, never "false".
func (c *Condition) Holds(answer trial.Values, f Facts, p Plan) (bool, error) {
	env := reflect.New(c.env).Elem()
	for i, a := range c.asks {
		if err := fill(env.Field(0).Field(i), a, answer); err != nil {
			return false, c.undecided(err)
		}
	}
	env.Field(1).Set(reflect.ValueOf(f))
	env.Field(2).Set(reflect.ValueOf(p))
	out, err := expr.Run(c.program, env.Interface())
	if err != nil {
		return false, c.undecided(err)
	}
	yes, ok := out.(bool)
	if !ok {
		return false, c.undecided(fmt.Errorf("it gave %T", out))
	}
	return yes, nil
}

// fill puts the answer to one field into the environment.
func fill(into reflect.Value, a ask, answer trial.Values) error {
	v, ok := answer[a.name]
	if !ok {
		if a.open {
			return nil
		}
		return fmt.Errorf("%s has no answer", a.name)
	}
	if reflect.TypeOf(v) != into.Type() {
		return fmt.Errorf("%s is a %T", a.name, v)
	}
	into.Set(reflect.ValueOf(v))
	return nil
}

func (c *Condition) undecided(err error) error {
	return fault.Newf(fault.Internal, "Your answer is not lost. Report this flow to its author.",
		"The guide could not decide the way on: %s", c.Source).Because(err)
}
