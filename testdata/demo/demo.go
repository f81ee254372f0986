// Package demo holds the data of the demonstration scenario: invented people,
// places and tanks of an invented city region. Nobody and nothing in it exists.
package demo

import _ "embed"

// The tables. Fields are separated by tabs, lines that begin with # are notes,
// and the first line names the columns.
var (
	//go:embed people.tsv
	People string
	//go:embed sites.tsv
	Sites string
	//go:embed tanks.tsv
	Tanks string
	//go:embed stock.tsv
	Stock string
)
