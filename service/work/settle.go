package work

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"tankward/service/care"
)

// settle folds the selected routines and stores what is due of them. The caller
// holds the lock of the tank that guards them; of a whole site, or of all, the
// tanks are locked here, lest a record that is being written is overlooked and
// what it has closed is overwritten.
func settle(ctx context.Context, t Tx, sel Selection) ([]Settlement, error) {
	if sel.Everything || sel.Site != uuid.Nil {
		if _, err := t.LockTanks(ctx, sel.Site); err != nil {
			return nil, err
		}
	}
	plans, err := t.Histories(ctx, sel)
	if err != nil {
		return nil, err
	}
	all := make([]Settlement, len(plans))
	for i, p := range plans {
		all[i] = Settlement{Plan: p, Settled: care.Settle(p.History)}
	}
	if err := t.WriteDue(ctx, all); err != nil {
		return nil, fmt.Errorf("store due work: %w", err)
	}
	return all, nil
}

// settlementOf finds a routine's settlement.
func settlementOf(all []Settlement, routine uuid.UUID) (Settlement, bool) {
	for _, s := range all {
		if s.Plan.Routine.ID == routine {
			return s, true
		}
	}
	return Settlement{}, false
}

// reach is how far before a moved day the fold begins: longer than the search
// for an open day through two of the longest closures and any tolerance.
const reach = 3 * care.Reach
