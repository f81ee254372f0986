package work

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/tx"
)

// batch is one command that records work.
type batch struct {
	t     Tx
	call  tx.Scope
	now   time.Time
	newID func() uuid.UUID
}

// fold settles every routine that the records touch and tells each record what
// it counts for.
func (b *batch) fold(ctx context.Context, records []Recorded) error {
	since := care.MaxDay // of all records: one of them may follow another
	var routines []uuid.UUID
	for _, r := range records {
		if r.RoutineID == uuid.Nil {
			continue
		}
		since = min(since, *r.DoneOn)
		if !slices.Contains(routines, r.RoutineID) {
			routines = append(routines, r.RoutineID)
		}
	}
	for _, routine := range routines {
		all, err := settle(ctx, b.t, Selection{Routine: routine, Since: since})
		if err != nil {
			return err
		}
		if err := b.tell(ctx, records, routine, all); err != nil {
			return err
		}
	}
	return nil
}

func (b *batch) tell(ctx context.Context, records []Recorded, routine uuid.UUID, all []Settlement) error {
	s, ok := settlementOf(all, routine)
	for i := range records {
		r := &records[i]
		if r.RoutineID != routine || !ok {
			continue
		}
		for _, c := range s.Settled.Counted {
			if c.RecordID == r.ID {
				r.Counted = c
			}
		}
		if r.Counted.For != nil {
			closer, err := b.t.CloserOf(ctx, routine, *r.Counted.For)
			if err != nil {
				return err
			}
			r.ClosedBy = closer
		}
		r.Next = next(s, b.now)
	}
	return nil
}

// next gives the oldest unclosed item as it stands on the site's today.
func next(s Settlement, now time.Time) *DueItem {
	if s.Settled.Stored.None {
		return nil
	}
	today := fleet.Today(s.Plan.Zone, now)
	it := s.Settled.Stored.Item
	if open := care.OpenOn(s.Plan.History, today); len(open) > 0 {
		it = open[0]
	} else if it.State == "" {
		it.State = care.Coming
	}
	return &DueItem{Item: it, Routine: s.Plan.Routine, Zone: s.Plan.Zone, Today: today, Cautions: s.Plan.Cautions}
}

// VoidRecord takes a record out of the fold; it stays in the list, marked.
func (s *Service) VoidRecord(ctx context.Context, c tx.Call[Recorded], id uuid.UUID, reason string) (tx.Outcome[Recorded], error) {
	var checks fleet.Checks
	checks.Text("/reason", reason, 500, true)
	if err := checks.Err(); err != nil {
		return tx.Outcome[Recorded]{}, err
	}
	return tx.Do(ctx, s.run, c, func(ctx context.Context, t Tx) (Recorded, tx.Trail, error) {
		found, err := s.lockRecord(ctx, t, id)
		if err != nil {
			return Recorded{}, tx.Trail{}, err
		}
		if found.Voided != nil {
			return Recorded{}, tx.Trail{}, fault.ConflictWith("The record was voided before, on %s.", found.Voided.At.Format(time.DateOnly))
		}
		if !mayVoid(c.Scope, found) {
			return Recorded{}, tx.Trail{}, fault.Denied("Only the member who recorded it, a coordinator or an owner may void this record.")
		}
		found.Voided = &Void{At: c.Now, By: c.Scope.Actor, Reason: reason}
		if err := t.SaveVoid(ctx, id, *found.Voided); err != nil {
			return Recorded{}, tx.Trail{}, err
		}
		out := []Recorded{{Record: found}}
		b := batch{t: t, call: c.Scope, now: c.Now, newID: s.newID}
		if err := b.fold(ctx, out); err != nil {
			return Recorded{}, tx.Trail{}, err
		}
		trail := tx.Did(tx.Change{Resource: "work_record", Action: "voided", ID: id, Site: found.SiteID, Tank: found.TankID})
		trail.Audit[0].Reason = reason
		return out[0], trail, nil
	})
}

// lockRecord takes the tank's lock before the record's own.
func (s *Service) lockRecord(ctx context.Context, t Tx, id uuid.UUID) (Record, error) {
	seen, err := t.LoadRecord(ctx, id)
	if err != nil {
		return seen, err
	}
	if _, err := t.Tanks().Load(ctx, seen.TankID); err != nil {
		return seen, err
	}
	return t.LoadRecord(ctx, id)
}

func mayVoid(s tx.Scope, r Record) bool {
	return slices.Contains([]tx.Role{tx.Owner, tx.Coordinator}, s.Role) || r.RecordedBy == s.Actor
}
