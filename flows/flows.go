// Package flows holds the guides that come with Belay. See
// docs/formats/flow.md for the format.
package flows

import "embed"

// FS holds every flow with its companions.
//
//go:embed *.yaml platforms/*.yaml
var FS embed.FS
