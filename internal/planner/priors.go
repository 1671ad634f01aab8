package planner

import (
	"belay/internal/heat"
	"belay/internal/loadline"
	"belay/internal/stability"
)

// Priors is what the models believe of a platform before any reading.
type Priors struct {
	Stability stability.Family
	Heat      heat.Prior // of a part with ten cores
	LoadLine  loadline.Prior
}

// priors are those of the platform, else those of the models.
func (in Input) priors() Priors {
	if in.Priors != nil {
		return *in.Priors
	}
	return Priors{Stability: stability.DefaultFamily(), Heat: heat.DefaultPrior(), LoadLine: loadline.DefaultPrior()}
}
