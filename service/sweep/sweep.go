// Package sweep takes away what is kept only for a time, and makes room for what
// is to come. Nobody asks for it; the job queue calls it.
package sweep

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
)

// AnswersKept is how long the answer of a command is given again to a repeat;
// after that, ids made by the client protect.
const AnswersKept = 30 * 24 * time.Hour

const (
	// organisations are walked in pages, answers removed in batches, so that no
	// step is long.
	pageOfOrganisations = 500
	batchOfAnswers      = 5_000
	// monthsAhead is for how many months after this one there is room for
	// readings, in case the job doesn't run for a while.
	monthsAhead = 2
)

// Store is what sweeps work on. Each call is a transaction of its own.
type Store interface {
	// OrganisationsAfter gives up to most organisations of the directory in
	// order of their ids, beginning after one.
	OrganisationsAfter(ctx context.Context, after uuid.UUID, most int) ([]uuid.UUID, error)
	// SweepAnswers removes up to most answers of an organisation that were
	// stored before a moment, and gives how many it removed.
	SweepAnswers(ctx context.Context, org uuid.UUID, before time.Time, most int) (int64, error)
	// EnsureReadingMonth makes room for the readings of a day's month.
	EnsureReadingMonth(ctx context.Context, d care.Day) error
}

// Progress says how far a sweep came.
type Progress struct {
	Last    uuid.UUID // the last organisation that was swept
	Done    bool      // the whole directory was walked
	Removed int64
}

// Answers removes stored answers that are older than AnswersKept, organisation
// by organisation after one (Nil: from the first), as long as goOn says so.
func Answers(ctx context.Context, st Store, after uuid.UUID, now time.Time, goOn func() bool) (Progress, error) {
	p := Progress{Last: after}
	for {
		orgs, err := st.OrganisationsAfter(ctx, p.Last, pageOfOrganisations)
		if err != nil {
			return p, fmt.Errorf("list organisations: %w", err)
		}
		if len(orgs) == 0 {
			p.Done = true
			return p, nil
		}
		for _, org := range orgs {
			for {
				if !goOn() {
					return p, nil
				}
				n, err := st.SweepAnswers(ctx, org, now.Add(-AnswersKept), batchOfAnswers)
				if err != nil {
					return p, fmt.Errorf("sweep the answers of organisation %s: %w", org, err)
				}
				p.Removed += n
				if n < batchOfAnswers {
					break
				}
			}
			p.Last = org
		}
	}
}

// ReadingMonths makes room for the readings of this month and the next two.
func ReadingMonths(ctx context.Context, st Store, today care.Day) error {
	t := today.Time()
	for i := range monthsAhead + 1 {
		d := care.Date(t.Year(), t.Month()+time.Month(i), 1)
		if err := st.EnsureReadingMonth(ctx, d); err != nil {
			return fmt.Errorf("make room for the readings from %s on: %w", d, err)
		}
	}
	return nil
}
