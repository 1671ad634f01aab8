package flow

import (
	"errors"
	"reflect"
	"strings"

	"belay/internal/fault"
)

// checkPriors asks for every figure of the priors, if there are any, and where
// it comes from.
func (l *loader) checkPriors() {
	p := l.graph.Platform.Priors
	if p == nil {
		if l.platform.has("prior_sources") {
			l.platform.refuse("prior_sources", "Add priors, or remove this.", "There are sources of priors, but no priors.")
		}
		return
	}
	for _, model := range []struct {
		name    string
		prior   interface{ Validate() error }
		sources map[string]string
	}{
		{"stability", p.Stability, l.graph.Platform.PriorSources.Stability},
		{"heat", p.Heat, l.graph.Platform.PriorSources.Heat},
		{"load_line", p.LoadLine, l.graph.Platform.PriorSources.LoadLine},
	} {
		path := "priors." + model.name
		before := len(*l.platform.problems)
		figures := leaves(reflect.TypeOf(model.prior), "")
		for _, key := range figures {
			switch {
			case !l.platform.has(path + "." + key):
				l.platform.refuse(path, "Add it with its source.", "The figure %s is missing.", key)
			case strings.TrimSpace(model.sources[top(key)]) == "":
				l.platform.refuse(path+"."+key, `Add it under prior_sources: a publication, or "common practice, no source", or "chosen: why".`,
					"The figure %s names no source.", key)
			}
		}
		for _, key := range keys(model.sources) {
			if !hasFigure(figures, key) {
				l.platform.refuse("prior_sources."+model.name+"."+key, "Remove it, or correct the name.", "%q is not a figure of this prior.", key)
			}
		}
		if err := model.prior.Validate(); err != nil && len(*l.platform.problems) == before {
			var f *fault.Error
			errors.As(err, &f)
			l.platform.refuse(path, "Correct the figure.", "%s.", strings.ToUpper(f.Msg[:1])+f.Msg[1:])
		}
	}
}

// leaves lists the keys of a prior, those of its parts behind a point.
func leaves(t reflect.Type, path string) []string {
	var out []string
	for i := range t.NumField() {
		f := t.Field(i)
		key := join(path, f.Tag.Get("yaml"))
		if f.Type.Kind() == reflect.Struct {
			out = append(out, leaves(f.Type, key)...)
			continue
		}
		out = append(out, key)
	}
	return out
}

// top is the first part of a key.
func top(key string) string {
	name, _, _ := strings.Cut(key, ".")
	return name
}

func hasFigure(figures []string, key string) bool {
	for _, f := range figures {
		if top(f) == key {
			return true
		}
	}
	return false
}
