package flow

import (
	"reflect"

	"github.com/goccy/go-yaml/ast"

	"belay/internal/safety"
	"belay/internal/trial"
)

// rawFlow is the flow file as written, before patterns, branch sets and
// relative targets are resolved.
type rawFlow struct {
	Flow       string                 `yaml:"flow"`
	Title      string                 `yaml:"title"`
	Version    int                    `yaml:"version"`
	Start      string                 `yaml:"start"`
	Stop       string                 `yaml:"stop"`
	Platform   string                 `yaml:"platform"`
	Stages     []rawStage             `yaml:"stages"`
	Fields     []Field                `yaml:"fields"`
	BranchSets map[string][]rawBranch `yaml:"branch_sets"`
	Patterns   map[string][]rawState  `yaml:"patterns"`
	States     []rawState             `yaml:"states"`
}

type rawStage struct {
	Stage    `yaml:",inline"`
	Patterns []string `yaml:"patterns"`
}

type rawState struct {
	ID       string         `yaml:"id"`
	Stage    string         `yaml:"stage"`
	Title    string         `yaml:"title"`
	Say      string         `yaml:"say"`
	Do       []string       `yaml:"do"`
	See      string         `yaml:"see"`
	IfFails  string         `yaml:"if_fails"`
	Minutes  float64        `yaml:"minutes"`
	Restarts bool           `yaml:"restarts"`
	Cautions []string       `yaml:"cautions"`
	Touches  []safety.Touch `yaml:"touches"`
	Plan     string         `yaml:"plan"`
	Confirms bool           `yaml:"confirms"`
	Trial    bool           `yaml:"trial"`
	Machine  bool           `yaml:"machine"`
	Failure  trial.Outcome  `yaml:"failure"`
	End      bool           `yaml:"end"`
	Fields   []rawUse       `yaml:"fields"`
	Actions  []rawAction    `yaml:"actions"`
	Auto     []rawBranch    `yaml:"auto"`
}

type rawUse struct {
	Name     string              `yaml:"name"`
	Required bool                `yaml:"required"`
	NeededIf map[string][]string `yaml:"needed_if"`
	Readback bool                `yaml:"readback"`
}

type rawAction struct {
	Name     string      `yaml:"name"`
	Label    string      `yaml:"label"`
	Needs    *[]string   `yaml:"needs"`
	Branches rawBranches `yaml:"branches"`
}

type rawBranch struct {
	When string `yaml:"when"`
	To   string `yaml:"to"`
}

// rawBranches is a list of branches or the name of a branch set.
type rawBranches struct {
	set  string
	list []rawBranch
}

func (r *rawBranches) decode(d *document, n ast.Node, path string) {
	if _, ok := n.(*ast.StringNode); ok {
		d.decodeText(n, reflect.ValueOf(&r.set).Elem(), path)
		return
	}
	d.decodeList(n, reflect.ValueOf(&r.list).Elem(), path)
}

type rawCautions struct {
	Cautions []Caution `yaml:"cautions"`
}

type rawGlossary struct {
	Terms []Term `yaml:"terms"`
}
