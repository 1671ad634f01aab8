package flow

import (
	"errors"
	"fmt"
	"reflect"
	"slices"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"

	"belay/internal/trial"
)

// Bounds of a condition. Chosen: a reader should take it in at a glance.
const (
	maxCondition = 300
	maxNodes     = 100
)

var operators = []string{"==", "!=", "<", "<=", ">", ">=", "+", "-", "*", "&&", "||", "in"}

// inspector walks a condition's tree and keeps the first misfit.
type inspector struct {
	scope
	condition *Condition
	read      []string // fields that it reads
	negated   bool     // inside an odd number of !
	bad       *misfit
}

// inspect parses the source and refuses everything but comparisons, sums and
// logic over known values. It returns the fields that the condition reads.
func (c *Condition) inspect(in scope) ([]string, *misfit) {
	if len(c.Source) > maxCondition {
		return nil, &misfit{0, fmt.Sprintf("The condition has more than %d characters.", maxCondition), "Split it into several branches."}
	}
	tree, err := parser.Parse(c.Source)
	if err != nil {
		var known *file.Error
		if errors.As(err, &known) {
			return nil, &misfit{known.From, "The condition cannot be read: " + known.Message + ".", "Use only == != < <= > >= + - * && || ! in and brackets."}
		}
		return nil, misfitOf(err)
	}
	w := &inspector{scope: in, condition: c}
	w.node(tree.Node)
	return w.read, w.bad
}

func (w *inspector) refuse(n ast.Node, next, format string, args ...any) {
	if w.bad == nil {
		w.bad = &misfit{n.Location().From, fmt.Sprintf(format, args...), next}
	}
}

func (w *inspector) node(n ast.Node) {
	switch n := n.(type) {
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.StringNode:
	case *ast.UnaryNode:
		if n.Operator != "!" && n.Operator != "-" && n.Operator != "+" {
			w.refuse(n, "Write ! instead.", "%q is not used in conditions.", n.Operator)
		}
		before := w.negated
		w.negated = before != (n.Operator == "!")
		w.node(n.Node)
		w.negated = before
	case *ast.BinaryNode:
		w.binary(n)
	case *ast.ArrayNode:
		for _, x := range n.Nodes {
			w.node(x)
		}
	case *ast.MemberNode:
		w.member(n)
	case *ast.ConditionalNode:
		w.refuse(n, "Use one branch for each case.", "A condition has no ?: in it.")
	case *ast.CallNode, *ast.BuiltinNode:
		w.refuse(n, "Use comparisons only.", "A condition calls no functions.")
	case *ast.NilNode:
		w.refuse(n, `Compare with 0, "" or false: a field that is open reads as that.`, "A condition does not know nil.")
	case *ast.IdentifierNode:
		w.refuse(n, "Write answer.NAME, fact.NAME or plan.NAME.", "%q stands alone.", n.Value)
	default:
		w.refuse(n, "Use only == != < <= > >= + - * && || ! in and brackets.", "This part has no place in a condition.")
	}
}

// spelled says what to write for an operator that conditions do without.
var spelled = map[string]string{"and": "Write && instead.", "or": "Write || instead.", "/": "Multiply the other side instead.", "%": "Multiply the other side instead."}

func (w *inspector) binary(n *ast.BinaryNode) {
	if !slices.Contains(operators, n.Operator) {
		next := spelled[n.Operator]
		if next == "" {
			next = "Use only == != < <= > >= + - * && || ! in and brackets."
		}
		w.refuse(n, next, "%q is not used in conditions.", n.Operator)
	}
	if _, list := n.Right.(*ast.ArrayNode); n.Operator == "in" && !list {
		w.refuse(n.Right, `Write a list, such as ["error", "froze"].`, "The right side of in must be a list.")
	}
	w.node(n.Left)
	w.node(n.Right)
	if n.Operator == "==" || n.Operator == "!=" || n.Operator == "in" {
		w.compared(n, n.Left, n.Right)
		w.compared(n, n.Right, n.Left)
	}
}

// member checks one answer.NAME, fact.NAME or plan.NAME.
func (w *inspector) member(n *ast.MemberNode) {
	root, ok := n.Node.(*ast.IdentifierNode)
	name, text := n.Property.(*ast.StringNode)
	if !ok || !text || n.Optional || n.Method {
		w.refuse(n, "Write answer.NAME, fact.NAME or plan.NAME.", "This is not a name that a condition knows.")
		return
	}
	switch root.Value {
	case "answer":
		w.answer(n, name.Value)
	case "fact":
		w.known(n, "fact", name.Value, exprNames(reflect.TypeFor[Facts]()))
	case "plan":
		if !w.hasPlan {
			w.refuse(n, "Add plan: to the state, or drop the condition.", "The state has no plan to ask about.")
		}
		w.known(n, "plan", name.Value, exprNames(reflect.TypeFor[Plan]()))
	default:
		w.refuse(n, "Write answer.NAME, fact.NAME or plan.NAME.", "%q is not a name that a condition knows.", root.Value)
	}
}

func (w *inspector) answer(n ast.Node, name string) {
	f := w.field(name)
	switch {
	case f == nil:
		w.refuse(n, "Add it to the fields, or correct the name.", "The condition reads %q, which is not a field.", name)
	case goType(f.Kind) == nil:
		w.refuse(n, "Ask about a fact instead.", "The condition reads %q, which holds readings.", name)
	case !slices.ContainsFunc(w.asks, func(a ask) bool { return a.name == name }):
		w.refuse(n, "Add it to needs, or make it required.", "The condition reads %q, which the action does not need.", name)
	default:
		w.read = append(w.read, name)
	}
}

func (w *inspector) known(n ast.Node, root, name string, names []string) {
	if !slices.Contains(names, name) {
		w.refuse(n, meant(name, names), "There is no %s called %q.", root, name)
	}
}

// exprNames lists the names of a struct's fields in conditions.
func exprNames(t reflect.Type) []string {
	names := make([]string, 0, t.NumField())
	for i := range t.NumField() {
		names = append(names, t.Field(i).Tag.Get("expr"))
	}
	return names
}

// compared checks the texts that a choice or the suspect is compared with, and
// notes those that an answer is said to equal.
func (w *inspector) compared(n *ast.BinaryNode, left, right ast.Node) {
	m, ok := left.(*ast.MemberNode)
	if !ok || w.bad != nil {
		return
	}
	root := m.Node.(*ast.IdentifierNode).Value // checked by member
	name := m.Property.(*ast.StringNode).Value
	nodes := []ast.Node{right}
	if list, ok := right.(*ast.ArrayNode); ok {
		nodes = list.Nodes
	}
	for _, x := range nodes {
		value, ok := x.(*ast.StringNode)
		if !ok {
			continue
		}
		switch {
		case root == "answer" && w.field(name).Kind == choice:
			w.oneOf(x, "choice of "+name, value.Value, w.field(name).values())
		case root == "fact" && name == "suspect":
			w.oneOf(x, "stage", value.Value, w.stages)
		}
		if root == "answer" && w.negated == (n.Operator == "!=") {
			w.condition.equals[name] = append(w.condition.equals[name], value.Value)
		}
	}
}

// oneOf refuses a text that the other side never equals; "" is what is not
// known yet.
func (w *inspector) oneOf(n ast.Node, what, value string, values []string) {
	if value != "" && !slices.Contains(values, value) {
		w.refuse(n, meant(value, values), "%q is not a %s.", value, what)
	}
}

// handles reports whether the condition names the outcome as one it holds
// for.
func (c *Condition) handles(o trial.Outcome) bool {
	return c != nil && slices.Contains(c.equals["outcome"], string(o))
}
