package strictjson_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/strictjson"
	"belay/internal/trial"
)

type body struct {
	Title  string       `json:"title"`
	Count  int          `json:"count"`
	Size   float64      `json:"size"`
	Inner  *inner       `json:"inner"`
	Values trial.Values `json:"values"`
}

type inner struct {
	Yes bool `json:"yes"`
}

// Source of the cases: RFC 8259 sections 2, 4, 7 and 8.1 and RFC 7493
// sections 2.1 to 2.3 for what differs between readers.
func TestDecodeRefuses(t *testing.T) {
	for name, c := range map[string]struct{ in, field, says string }{
		"empty":               {"", "", "empty"},
		"blank":               {" \n", "", "empty"},
		"cut off":             {`{"title":`, "title", "not JSON"},
		"second document":     {`{} {}`, "", "more than one"},
		"text behind":         {`{} x`, "", "not JSON"},
		"bracket behind":      {`{}]`, "", "not JSON"},
		"unknown":             {`{"more":1}`, "more", "no such name"},
		"unknown inside":      {`{"inner":{"no":true}}`, "inner.no", "no such name"},
		"other case":          {`{"Title":"x"}`, "Title", "no such name"},
		"other case inside":   {`{"inner":{"YES":true}}`, "inner.YES", "no such name"},
		"twice":               {`{"title":"a","title":"b"}`, "title", "twice"},
		"twice, escaped":      {`{"title":"a","\u0074itle":"b"}`, "title", "twice"},
		"twice inside values": {`{"values":{"a":1,"a":2}}`, "values.a", "twice"},
		"not UTF-8":           {"{\"title\":\"\xff\"}", "title", "not JSON"},
		"half a surrogate":    {`{"title":"\ud800"}`, "title", "not JSON"},
		"NUL":                 {`{"title":"\u0000"}`, "title", "U+0000"},
		"escape":              {`{"title":"\u001b[31m"}`, "title", "U+001B"},
		"newline":             {`{"title":"a\nb"}`, "title", "U+000A"},
		"bare newline":        {"{\"title\":\"a\nb\"}", "title", "not JSON"},
		"direction":           {`{"title":"a` + "\u202e" + `b"}`, "title", "U+202E"},
		"isolate in a name":   {`{"values":{"a` + "\u2066" + `":1}}`, "values.a?", "U+2066"},
		"mark in front":       {"\ufeff{}", "", "not JSON"},
		"huge":                {`{"size":1e999}`, "size", "too large"},
		"huge in values":      {`{"values":{"set_voltage_v":-1e999}}`, "values.set_voltage_v", "too large"},
		"NaN":                 {`{"size":NaN}`, "size", "not JSON"},
		"infinity":            {`{"size":Infinity}`, "size", "not JSON"},
		"hexadecimal":         {`{"size":0x10}`, "", "not JSON"},
		"leading zero":        {`{"size":01}`, "", "not JSON"},
		"comment":             {`{"size":1/**/}`, "", "not JSON"},
		"comma at the end":    {`{"size":1,}`, "", "not JSON"},
		"text for a number":   {`{"size":"1.2"}`, "size", "a number"},
		"part of a whole":     {`{"count":1.5}`, "count", "a whole number"},
		"list for an object":  {`[]`, "", "an object"},
		"text for an object":  {`{"inner":"x"}`, "inner", "an object"},
		"deep":                {strings.Repeat("[", 33), "", "more than 32 deep"},
		"very deep":           {strings.Repeat(`{"a":`, 20000), "", "more than 32 deep"},
	} {
		t.Run(name, func(t *testing.T) {
			var v body
			err := strictjson.Decode([]byte(c.in), &v)
			require.ErrorContains(t, err, c.says)
			require.Equal(t, fault.Invalid, fault.CodeOf(err))
			var f *fault.Error
			require.ErrorAs(t, err, &f)
			require.NotEmpty(t, f.Next)
			if c.field == "" {
				require.Empty(t, f.Fields)
				return
			}
			require.Len(t, f.Fields, 1)
			require.Equal(t, c.field, f.Fields[0].Field)
		})
	}
}

func TestDecodeReads(t *testing.T) {
	var v body
	require.NoError(t, strictjson.Decode([]byte(" {\"title\":\"Gr\u00fc\u00dfe \U0001F600\",\"count\":3,\"size\":-1.5e300,\"inner\":{\"yes\":true},"+
		"\"values\":{\"ok\":true,\"rows\":[{\"score\":1}]}}\n"), &v))
	require.Equal(t, body{
		Title: "Gr\u00fc\u00dfe \U0001F600", Count: 3, Size: -1.5e300, Inner: &inner{true},
		Values: trial.Values{"ok": true, "rows": []trial.Row{{"score": 1}}},
	}, v)
	require.NoError(t, strictjson.Check([]byte(strings.Repeat("[", 32)+strings.Repeat("]", 32))))
	require.NoError(t, strictjson.Check([]byte(`1`)))
}

// FuzzCheck: what passes is JSON for another reader too, and is the same
// after being written again.
func FuzzCheck(f *testing.F) {
	for _, s := range []string{
		`{"title":"a","values":{"set_voltage_v":1.2,"ok":true,"note":"x"}}`, `{"a":1,"a":2}`, `[]`, "1e999", `"\ud800"`, "{", "nul",
		`{"trials":[{"load":"scalar","ratio":50,"minutes":1e1}]}`, "\"\u202e\"", `{"":{"":""}}`, `-0`, `[[[[[[]]]]]]`, "{}{}",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var v body
		derr := strictjson.Decode(data, &v)
		if err := strictjson.Check(data); err != nil {
			require.Equal(t, fault.Invalid, fault.CodeOf(err))
			require.NotEmpty(t, err.Error())
			require.Error(t, derr, "Decode takes nothing that Check refuses")
			return
		}
		require.True(t, json.Valid(data))
		var any any
		require.NoError(t, json.Unmarshal(data, &any))
		again, err := json.Marshal(any)
		require.NoError(t, err)
		require.NoError(t, strictjson.Check(again))
		if derr == nil {
			written, err := json.Marshal(v)
			require.NoError(t, err)
			var twice body
			require.NoError(t, strictjson.Decode(written, &twice))
			require.Equal(t, v.Title, twice.Title)
			require.Equal(t, v.Size, twice.Size)
		}
	})
}
