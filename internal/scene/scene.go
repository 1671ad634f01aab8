// Package scene leads a session to any state of a flow, with an invented PC
// and invented trials, so that every page can be looked at and checked without
// playing a whole session.
package scene

import (
	"slices"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/trial"
)

// move is one step of a way through the flow.
type move struct{ from, to, via string }

// auto is the name of a move that nobody answers for.
const auto = "auto"

// Payloads returns the events of a session that rests in the state with this
// id, by the shortest way from the start.
func Payloads(g *flow.Graph, state string) ([]event.Payload, error) {
	way, ok := route(g, state)
	if !ok {
		return nil, fault.Newf(fault.NotFound, "Name a state of the flow.", "There is no way to %q.", state)
	}
	out := []event.Payload{event.SessionStarted{Title: "Attic PC: " + state, Flow: g.Name, FlowHash: g.Hash}}
	if len(way) == 0 {
		return out, nil
	}
	known := pc()
	for i, m := range way {
		if m.via != auto {
			out = append(out, event.Answered{Prompt: "p1", State: m.from, Action: m.via, Values: known})
			known = nil
		}
		out = append(out, event.Moved{From: m.from, To: m.to, Via: m.via})
		if i == 0 {
			out = append(out, evidence(g, g.State(state).Stage)...)
		}
		if to := g.State(m.to); to.Plan != "" {
			out = append(out, event.TrialProposed{Proposal: proposal(to.Plan)})
		}
	}
	if here := g.State(state); here.Trial && here.Plan == "" && !proposes(g, way) {
		out = append(out, event.TrialProposed{Proposal: proposal("core")})
	}
	return out, nil
}

// proposes reports whether a state with a search lies on the way.
func proposes(g *flow.Graph, way []move) bool {
	return slices.ContainsFunc(way, func(m move) bool { return g.State(m.to).Plan != "" })
}

// route finds the shortest way, by breadth first search.
func route(g *flow.Graph, to string) ([]move, bool) {
	if g.State(to) == nil {
		return nil, false
	}
	back := map[string]move{g.Start: {}}
	queue := []string{g.Start}
	for len(queue) > 0 && back[to] == (move{}) && to != g.Start {
		at := queue[0]
		queue = queue[1:]
		for _, m := range ways(g, g.State(at)) {
			if _, seen := back[m.to]; !seen {
				back[m.to] = m
				queue = append(queue, m.to)
			}
		}
	}
	var out []move
	for at := to; at != g.Start; at = back[at].from {
		if back[at] == (move{}) {
			return nil, false
		}
		out = append(out, back[at])
	}
	slices.Reverse(out)
	return out, true
}

// ways lists the moves out of a state.
func ways(g *flow.Graph, s *flow.State) []move {
	var out []move
	add := func(via, to string) {
		if to != flow.Return {
			out = append(out, move{s.ID, to, via})
		}
	}
	for _, b := range s.Auto {
		add(auto, b.To)
	}
	for _, a := range s.Actions {
		for _, b := range a.Branches {
			add(a.Name, b.To)
		}
	}
	if s.ID != g.StopState {
		add("stop", g.StopState)
	}
	return out
}

// pc is what the owner of an invented PC has answered.
func pc() trial.Values {
	return trial.Values{
		"core_count": 10.0, "stock_ratio": 47.0, "stock_cache_ratio": 42.0, "base_clock_mhz": 100.0, "temp_limit_c": 100.0,
		"firmware_version": "1.7", "memory_standard": "ddr4", "memory_modules": 2.0, "memory_gb": 32.0, "kit_rate_mts": 3600.0,
		"kit_cl": 18.0, "kit_trcd": 22.0, "kit_trp": 22.0, "kit_tras": 42.0, "kit_voltage_v": 1.35, "cooler": "air",
		"stock_sustained_limit_w": 125.0, "air_temp_c": 22.0, "supply_w": 750.0, "target": "normal", "steps_back": "1",
		"daily_mode": "adaptive",
		"readings": []trial.Row{
			{"set_voltage_v": 1.25, "load_voltage_v": 1.212, "package_power_w": 60},
			{"set_voltage_v": 1.25, "load_voltage_v": 1.186, "package_power_w": 172},
		},
	}
}
