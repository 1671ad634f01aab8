// Package flows holds the guides that come with Belay. See
// docs/formats/flow.md for the format.
package flows

import "embed"

// FS holds every flow with its companions, and why/why.yaml: why the numbers
// of each model are as they are, in plain words.
//
//go:embed *.yaml platforms/*.yaml why/*.yaml
var FS embed.FS
