package care

// Rule is a parsed recurrence rule of RFC 5545 over civil dates.
type Rule struct{}

// ParseRule reads a recurrence rule such as FREQ=WEEKLY;BYDAY=MO. Its error is
// a sentence that names the part that is wrong and says what would be right.
func ParseRule(text string) (*Rule, error) { panic("care: ParseRule is not built yet") }

// String gives the rule's canonical text, which ParseRule reads back.
func (r *Rule) String() string { panic("care: Rule.String is not built yet") }

// Resolve gives the rule as it is saved for a routine that begins on the first
// day: COUNT becomes the day of the last occurrence. A rule that never occurs
// from that day on is refused.
func (r *Rule) Resolve(first Day) (*Rule, error) { panic("care: Rule.Resolve is not built yet") }
