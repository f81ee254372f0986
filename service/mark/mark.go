// Package mark says how far a value can be trusted. Every figure of the trade
// that the service shows carries one of these marks.
package mark

// Mark is the standing of a value.
type Mark string

// The marks.
const (
	Published      Mark = "published"       // a source stands beside the value
	CommonPractice Mark = "common_practice" // custom of the trade, without a published authority
	FromMemory     Mark = "from_memory"     // to be checked before it is called published
)

// All gives the marks, the most trusted first.
func All() []Mark { return []Mark{Published, CommonPractice, FromMemory} }

// Known says whether m is one of the marks.
func (m Mark) Known() bool {
	switch m {
	case Published, CommonPractice, FromMemory:
		return true
	}
	return false
}
