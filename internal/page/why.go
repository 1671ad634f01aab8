package page

import (
	"io/fs"

	"github.com/goccy/go-yaml"

	"belay/flows"
	"belay/internal/fault"
)

// whyTexts reads, by the name of a model, why its numbers are as they are.
func whyTexts() (map[string]string, error) {
	body, err := fs.ReadFile(flows.FS, "why/why.yaml")
	if err != nil {
		return nil, fault.Wrap("page.whyTexts", err)
	}
	var texts map[string]string
	if err := yaml.UnmarshalWithOptions(body, &texts, yaml.Strict()); err != nil {
		return nil, fault.Wrap("page.whyTexts", err)
	}
	return texts, nil
}

// whyView is one of these texts with what it explains.
type whyView struct{ About, Text string }
