package flow

import (
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// decodable is a type that reads itself from more than one form.
type decodable interface {
	decode(d *document, n ast.Node, path string)
}

// decode reads the node into the value, strictly: every key known and given
// once, every value of the kind that belongs there. It notes the place of
// everything under its path.
func (d *document) decode(n ast.Node, v reflect.Value, path string) {
	d.at[path] = nodePlace(n)
	if v.CanAddr() {
		if own, ok := v.Addr().Interface().(decodable); ok {
			own.decode(d, n, path)
			return
		}
	}
	switch v.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		d.decode(n, v.Elem(), path)
	case reflect.Struct:
		d.decodeStruct(n, v, path)
	case reflect.Map:
		d.decodeMap(n, v, path)
	case reflect.Slice, reflect.Array:
		d.decodeList(n, v, path)
	case reflect.String:
		d.decodeText(n, v, path)
	case reflect.Bool:
		d.decodeBool(n, v, path)
	case reflect.Int, reflect.Int64:
		d.decodeWhole(n, v, path)
	case reflect.Float64:
		d.decodeNumber(n, v, path)
	default:
		d.refuse(path, "Remove it.", "%s cannot be read from a file.", last(path))
	}
}

// last is the name at the end of a path, for messages.
func last(path string) string {
	name := path[strings.LastIndexByte(path, '.')+1:]
	if name == "" {
		return "the file"
	}
	return name
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// pairs returns the keys and values of a mapping, each key once.
func (d *document) pairs(n ast.Node, path string) ([]string, []ast.Node, bool) {
	mapping, ok := n.(ast.MapNode)
	if !ok {
		d.refuse(path, "Write it as name: value pairs.", "%s must hold keys, not %s.", last(path), form(n))
		return nil, nil, false
	}
	var keys []string
	var values []ast.Node
	for it := mapping.MapRange(); it.Next(); {
		key, ok := it.Key().(*ast.StringNode)
		at := tokenPlace(it.Key().GetToken())
		switch {
		case !ok:
			d.refuseAt(at, "Put it in quotes if it is a name.", "A key must be a text.")
		case slices.Contains(keys, key.Value):
			d.refuseAt(at, "Keep one of them.", "The key %q is here twice.", key.Value)
		default:
			keys, values = append(keys, key.Value), append(values, it.Value())
		}
	}
	return keys, values, true
}

func (d *document) decodeStruct(n ast.Node, v reflect.Value, path string) {
	keys, values, ok := d.pairs(n, path)
	if !ok {
		return
	}
	fields := keysOf(v)
	for i, key := range keys {
		field, ok := fields[key]
		if !ok {
			d.refuseKey(n, key, path, v.Type(), slices.Collect(maps.Keys(fields)))
			continue
		}
		d.decode(values[i], field, join(path, key))
	}
}

func (d *document) refuseKey(n ast.Node, key, path string, t reflect.Type, known []string) {
	at := d.find(path)
	for it := n.(ast.MapNode).MapRange(); it.Next(); {
		if k, ok := it.Key().(*ast.StringNode); ok && k.Value == key {
			at = tokenPlace(k.GetToken())
		}
	}
	d.refuseAt(at, meant(key, known), "%q is not a key of %s.", key, noun(t))
}

// keysOf returns the settable fields of a struct by their YAML key.
func keysOf(v reflect.Value) map[string]reflect.Value {
	fields := map[string]reflect.Value{}
	for i := range v.NumField() {
		f := v.Type().Field(i)
		tag, rest, _ := strings.Cut(f.Tag.Get("yaml"), ",")
		switch {
		case rest == "inline":
			maps.Copy(fields, keysOf(v.Field(i)))
		case f.IsExported() && tag != "" && tag != "-":
			fields[tag] = v.Field(i)
		}
	}
	return fields
}

// nouns says what a person calls the parts of a flow.
var nouns = map[reflect.Type]string{
	reflect.TypeFor[rawFlow]():   "a flow",
	reflect.TypeFor[rawStage]():  "a stage",
	reflect.TypeFor[rawState]():  "a state",
	reflect.TypeFor[rawUse]():    "a field of a state",
	reflect.TypeFor[rawAction](): "an action",
	reflect.TypeFor[rawBranch](): "a branch",
	reflect.TypeFor[Field]():     "a field",
	reflect.TypeFor[Choice]():    "a choice",
	reflect.TypeFor[Caution]():   "a caution",
	reflect.TypeFor[Term]():      "a term",
	reflect.TypeFor[Platform]():  "a platform",
	reflect.TypeFor[Priors]():    "the priors",
}

func noun(t reflect.Type) string {
	if name, ok := nouns[t]; ok {
		return name
	}
	return "this part"
}

func (d *document) decodeMap(n ast.Node, v reflect.Value, path string) {
	keys, values, ok := d.pairs(n, path)
	if !ok {
		return
	}
	v.Set(reflect.MakeMapWithSize(v.Type(), len(keys)))
	for i, key := range keys {
		item := reflect.New(v.Type().Elem()).Elem()
		d.decode(values[i], item, join(path, key))
		v.SetMapIndex(reflect.ValueOf(key).Convert(v.Type().Key()), item)
	}
}

func (d *document) decodeList(n ast.Node, v reflect.Value, path string) {
	list, ok := n.(*ast.SequenceNode)
	if !ok {
		d.refuse(path, "Write it as a list: [one, two] or lines that begin with a dash.", "%s must be a list, not %s.", last(path), form(n))
		return
	}
	if v.Kind() == reflect.Slice {
		v.Set(reflect.MakeSlice(v.Type(), len(list.Values), len(list.Values)))
	} else if v.Len() != len(list.Values) {
		d.refuse(path, fmt.Sprintf("Write %d values.", v.Len()), "%s has %d values instead of %d.", last(path), len(list.Values), v.Len())
		return
	}
	for i, item := range list.Values {
		d.decode(item, v.Index(i), fmt.Sprintf("%s[%d]", path, i))
	}
}

func (d *document) decodeText(n ast.Node, v reflect.Value, path string) {
	switch n := n.(type) {
	case *ast.StringNode:
		v.SetString(n.Value)
	case *ast.LiteralNode:
		v.SetString(strings.TrimRight(n.Value.Value, "\n"))
	case *ast.NullNode:
		d.refuse(path, `Write the text, or "" for none.`, "%s has no value.", last(path))
	case ast.ScalarNode:
		d.refuse(path, "Put it in quotes.", "%s must be a text, not %s.", last(path), form(n))
	default:
		d.refuse(path, "Write one text.", "%s must be a text, not %s.", last(path), form(n))
	}
}

func (d *document) decodeBool(n ast.Node, v reflect.Value, path string) {
	b, ok := n.(*ast.BoolNode)
	if !ok || (b.Token.Value != "true" && b.Token.Value != "false") {
		d.refuse(path, "Write true or false.", "%s must be true or false.", last(path))
		return
	}
	v.SetBool(b.Value)
}

var (
	wholePattern  = regexp.MustCompile(`^-?(0|[1-9][0-9]{0,9})$`)
	numberPattern = regexp.MustCompile(`^-?(0|[1-9][0-9]{0,14})(\.[0-9]{1,15})?$`)
)

func (d *document) decodeWhole(n ast.Node, v reflect.Value, path string) {
	text := n.GetToken().Value
	if _, ok := n.(*ast.FloatNode); ok {
		d.refuse(path, "Leave the fraction out.", "%s must be a whole number, not %s.", last(path), text)
		return
	}
	if _, ok := n.(*ast.IntegerNode); !ok || !wholePattern.MatchString(text) {
		d.refuse(path, "Write plain digits, such as 12.", "%s must be a whole number.", last(path))
		return
	}
	whole, _ := strconv.ParseInt(text, 10, 64) // the pattern bounds it
	v.SetInt(whole)
}

func (d *document) decodeNumber(n ast.Node, v reflect.Value, path string) {
	switch n.(type) {
	case *ast.IntegerNode, *ast.FloatNode:
		if text := n.GetToken().Value; numberPattern.MatchString(text) {
			number, _ := strconv.ParseFloat(text, 64) // the pattern bounds it
			v.SetFloat(number)
			return
		}
	}
	d.refuse(path, "Write a plain number without unit or quotes, such as 1.25.", "%s must be a number.", last(path))
}

// form names what a node is.
func form(n ast.Node) string {
	switch n.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return "keys"
	case *ast.SequenceNode:
		return "a list"
	case *ast.NullNode:
		return "nothing"
	case *ast.BoolNode:
		return "true or false"
	case *ast.IntegerNode, *ast.FloatNode, *ast.InfinityNode, *ast.NanNode:
		return "a number"
	}
	return "a text"
}
