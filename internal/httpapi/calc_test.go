package httpapi_test

import (
	"fmt"
	"net/http"
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/calc"
)

// calculate calls every calculator once.
func (c *contract) calculate() {
	c.t.Helper()
	trials := []object{
		{"ratio": 48, "load_voltage_v": 1.21, "planned_minutes": 10, "outcome": "clean"},
		{"load": "mixed", "ratio": 49, "load_voltage_v": 1.20, "planned_minutes": 10, "outcome": "froze"},
	}
	for name, body := range map[string]object{
		"proof":    {"hours": 8, "target_h": 500},
		"loadline": {"reading": []any{"1.25:1.2:100", object{"set_voltage_v": 1.25, "load_voltage_v": 1.22, "package_power_w": 50}}, "want": 1.2, "power": 100},
		"heat":     {"air": 25, "rth": 0.5, "dynamic_w": 120, "leak_w": 20},
		"need":     {"trials": trials, "keep": "49:1.31", "delivered": object{"ratio": 47, "load_voltage_v": 1.3}},
		"memory":   {"standard": "ddr5", "rate": 6000, "cl": 31, "trcd": 38, "trp": 38, "tras": 30},
		"clocks":   {"standard": "ddr5", "ns": 16, "rate": 4800},
		"gain":     {"before": []float64{1000}, "after": []float64{1010}},
		"wear":     {"v0": 1.2, "t0": 70, "v1": 1.2, "t1": 70},
	} {
		require.Equal(c.t, http.StatusOK, c.call("POST", "/api/v1/calc/"+name, body).Status, name)
	}
}

// TestCalculatorInputsAreTheContract holds the keys, defaults and required
// inputs of each calculator equal to the contract.
func TestCalculatorInputsAreTheContract(t *testing.T) {
	schemas := loadContract(t).Components.Schemas
	for schema, in := range map[string]calc.Input{
		"CalcProof": calc.Proof{}, "CalcLoadLine": calc.LoadLine{}, "CalcHeat": calc.Heat{}, "CalcNeed": calc.Need{},
		"CalcMemory": calc.Memory{}, "CalcClocks": calc.Clocks{}, "CalcGain": calc.Gain{}, "CalcWear": calc.Wear{},
	} {
		s := schemas[schema].Value
		var keys, required []string
		for i := range reflect.TypeOf(in).NumField() {
			f := reflect.TypeOf(in).Field(i)
			key := f.Tag.Get("json")
			keys = append(keys, key)
			if _, ok := f.Tag.Lookup("required"); ok {
				required = append(required, key)
			}
			if fallback, ok := f.Tag.Lookup("default"); ok {
				require.Equal(t, fallback, fmt.Sprint(s.Properties[key].Value.Default), "%s: %s", schema, key)
			}
		}
		var written []string
		for key := range s.Properties {
			written = append(written, key)
		}
		require.ElementsMatch(t, keys, written, schema)
		require.ElementsMatch(t, required, s.Required, schema)
	}
}

func TestCalculatorRefuses(t *testing.T) {
	b := newBench(t)
	for body, field := range map[string]string{
		`{"hours": "8"}`:                 "hours",
		`{}`:                             "hours",
		`{"hours": 8, "houres": 9}`:      "houres",
		`{"hours": 8, "confidence": 95}`: "confidence",
		`{"hours": -1}`:                  "hours",
		`{"hours": 1e999}`:               "hours",
	} {
		p := into[struct {
			Code   string
			Errors []struct{ Field string }
		}](t, http.StatusUnprocessableEntity, b.call("POST", "/api/v1/calc/proof", []byte(body)))
		require.Equal(t, "invalid", p.Code, body)
		require.Len(t, p.Errors, 1, body)
		require.Equal(t, field, p.Errors[0].Field, body)
	}
	for _, body := range []string{`[]`, `null x`, `{"hours": 8} {}`, ``} {
		require.Equal(t, http.StatusUnprocessableEntity, b.call("POST", "/api/v1/calc/proof", []byte(body)).Status, body)
	}
	require.Equal(t, http.StatusNotFound, b.call("POST", "/api/v1/calc/nothing", object{}).Status)
	require.Equal(t, http.StatusMethodNotAllowed, b.call("GET", "/api/v1/calc/proof", nil).Status)
}
