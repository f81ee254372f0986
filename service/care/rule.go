package care

// Rule is a parsed recurrence rule of RFC 5545 over civil dates.
type Rule struct{}
