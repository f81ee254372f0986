// Package migrations holds the numbered schema changes, embedded.
package migrations

import "embed"

// FS holds the files NNNNNN_name.up.sql and NNNNNN_name.down.sql.
//
//go:embed 0*.sql
var FS embed.FS
