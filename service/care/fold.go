package care

// OpenOn gives what is open at the end of a day, as known now.
func OpenOn(h History, day Day) []Item { panic("care: OpenOn is not built yet") }

// Settle gives what a command writes back: the stored item, which record
// closes which item, and what each record counts for.
func Settle(h History) Settled { panic("care: Settle is not built yet") }

// On gives what is open at the end of a day that lies before NextEarliest and
// not before the newest record; false means that a fold is needed.
func (s Stored) On(day Day) ([]Item, bool) { panic("care: Stored.On is not built yet") }
