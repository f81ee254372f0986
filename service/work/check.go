package work

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/tx"
)

// Difference is a place where what is stored is not what the history says.
type Difference struct {
	Routine uuid.UUID
	What    string
	Stored  string
	Folded  string
}

// String gives the difference on one line.
func (d Difference) String() string {
	return fmt.Sprintf("routine %s: %s is stored as %s, the history gives %s", d.Routine, d.What, d.Stored, d.Folded)
}

// Check folds the whole history of every routine of the scope's organisation
// and names every difference from what is stored.
func (s *Service) Check(ctx context.Context, sc tx.Scope) ([]Difference, error) {
	plans, _, err := s.reads.Plans(ctx, sc, nil, DueFilter{}, true)
	if err != nil {
		return nil, err
	}
	stored, closes, err := s.reads.Stored(ctx, sc)
	if err != nil {
		return nil, err
	}
	var out []Difference
	for _, p := range plans {
		id := p.Routine.ID
		settled := care.Settle(p.History)
		was, kept := stored[id]
		was.None = !kept
		out = append(out, compareStored(id, was, settled.Stored)...)
		out = append(out, compareCloses(id, closes[id], settled.Closes)...)
		delete(stored, id)
	}
	for id := range stored {
		out = append(out, Difference{id, "due work", "open", "nothing: the routine is not in use"})
	}
	return out, nil
}

func compareStored(id uuid.UUID, was, is care.Stored) []Difference {
	if was.None || is.None {
		if was.None == is.None {
			return nil
		}
		return []Difference{{id, "whether any work is left", fmt.Sprint(!was.None), fmt.Sprint(!is.None)}}
	}
	var out []Difference
	for _, f := range []struct {
		what     string
		was, now any
	}{
		{"the nominal due day", was.Item.Identity, is.Item.Identity},
		{"the earliest day", was.Item.Earliest, is.Item.Earliest},
		{"the due day", was.Item.Due, is.Item.Due},
		{"the latest day", was.Item.Latest, is.Item.Latest},
		{"the first late day", was.LateFrom, is.LateFrom},
		{"the next earliest day", was.NextEarliest, is.NextEarliest},
		{"the state", was.Item.State, is.Item.State},
		{"the share done", was.Item.DonePercent, is.Item.DonePercent},
		{"the count of closed doors", was.Item.NoAccessCount, is.Item.NoAccessCount},
		{"the level", was.Item.Level, is.Item.Level},
		{"the facts", fmt.Sprint(was.Item.Facts), fmt.Sprint(is.Item.Facts)},
	} {
		if f.was != f.now {
			out = append(out, Difference{id, f.what, fmt.Sprint(f.was), fmt.Sprint(f.now)})
		}
	}
	return out
}

func compareCloses(id uuid.UUID, was, is []care.Close) []Difference {
	text := func(cs []care.Close) []string {
		out := make([]string, len(cs))
		for i, c := range cs {
			out[i] = fmt.Sprintf("%s/%d by %s", c.NominalDue, c.Ordinal, c.RecordID)
		}
		slices.Sort(out)
		return out
	}
	a, b := text(was), text(is)
	if slices.Equal(a, b) {
		return nil
	}
	return []Difference{{id, "what is closed", fmt.Sprint(a), fmt.Sprint(b)}}
}
