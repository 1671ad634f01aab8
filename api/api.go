// Package api holds the contract of the HTTP API.
package api

import _ "embed"

// OpenAPI is the contract, as served at /api/v1/openapi.yaml.
//
//go:embed openapi.yaml
var OpenAPI []byte
