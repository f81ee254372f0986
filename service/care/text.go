package care

// MarshalText gives the rule's canonical text, so that two rules of one meaning
// have one form wherever they are stored or compared.
func (r *Rule) MarshalText() ([]byte, error) { return []byte(r.String()), nil }
