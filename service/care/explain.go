package care

// Explain says in one or two sentences why the item has its dates, from its
// facts alone.
func Explain(item Item, kind WorkKind) string { panic("care: Explain is not built yet") }
