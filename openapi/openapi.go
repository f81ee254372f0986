// Package openapi holds the contract of the HTTP interface. It is written
// first; the types and the server interface in api/gen are generated from it.
package openapi

import _ "embed"

//go:generate go tool -modfile=../tools.mod oapi-codegen -config oapi-codegen.yaml openapi.yaml

// YAML is the contract as it is served.
//
//go:embed openapi.yaml
var YAML []byte
