package demo

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/stock"
	"tankward/service/tx"
	"tankward/service/work"
)

// Tx is what loading stores, many rows a call. Nothing is derived of them and
// nothing follows: the scenario holds what would.
type Tx interface {
	InsertOrganisation(ctx context.Context, o fleet.Organisation) error
	SaveAccessNotes(ctx context.Context, n fleet.AccessNotes) error
	InsertRampEvent(ctx context.Context, routine uuid.UUID, e work.RampEvent, at time.Time, actor uuid.UUID) error
	InsertReadings(ctx context.Context, rows []work.Reading) error
	AddMembers(ctx context.Context, rows []access.Member) error
	AddCustomers(ctx context.Context, rows []fleet.Customer) error
	AddSites(ctx context.Context, rows []fleet.Site) error
	AddClosures(ctx context.Context, rows []fleet.Closure) error
	AddTanks(ctx context.Context, rows []fleet.Tank) error
	AddEquipment(ctx context.Context, rows []fleet.Equipment) error
	AddLivestock(ctx context.Context, rows []stock.Livestock) error
	AddLivestockEvents(ctx context.Context, rows []stock.Event) error
	AddRoutines(ctx context.Context, rows []work.Routine) error
	AddRevisions(ctx context.Context, rows []work.Routine) error
	AddPauses(ctx context.Context, rows []work.Pause) error
	AddRecords(ctx context.Context, rows []work.Record) error
	AddDue(ctx context.Context, all []work.Settlement) error
}

const (
	// block is how many rows one statement carries.
	block = 5_000
	// lanes is how many blocks are on their way at once: more than two only wait
	// for each other on a small machine.
	lanes = 2
)

// Loader stores a scenario.
type Loader struct {
	Run tx.Runner[Tx]
	Now time.Time
	// Room makes room for the readings of a day's month.
	Room func(ctx context.Context, d care.Day) error
	// Progress is told, in a few words, what has been stored.
	Progress func(text string)
}

// Load stores the scenario in an empty database, block by block, each in a
// transaction of its own. Every block leaves one entry in the change log and in
// the audit: that so much was imported.
func (l Loader) Load(ctx context.Context, w World) error {
	// Not in the transactions of the readings: two would wait for each other.
	for day := w.Day - historyDays - 31; day < w.Day+31; day += 28 {
		if err := l.Room(ctx, day); err != nil {
			return fmt.Errorf("make room for readings: %w", err)
		}
	}
	for _, o := range []*Org{&w.Business, &w.Club} {
		if err := l.organisation(ctx, o); err != nil {
			return fmt.Errorf("load %s: %w", o.Organisation.Fields.Name, err)
		}
	}
	return nil
}

func (l Loader) organisation(ctx context.Context, o *Org) error {
	s := o.Scope()
	if err := l.small(ctx, s, o); err != nil {
		return err
	}
	if err := l.history(ctx, s, o); err != nil {
		return err
	}
	l.Progress(fmt.Sprintf("%s: %d sites, %d tanks, %d animals and colonies, %d routines, %d records of work, %d readings",
		o.Organisation.Fields.Name, len(o.Sites), len(o.Tanks), len(o.Livestock), len(o.Routines), len(o.Records), len(o.Readings)))
	return nil
}

// do runs one block.
func (l Loader) do(ctx context.Context, s tx.Scope, resources []string, f func(context.Context, Tx) error) error {
	_, err := tx.Do(ctx, l.Run, tx.Call[struct{}]{Scope: s, Now: l.Now}, func(ctx context.Context, t Tx) (struct{}, tx.Trail, error) {
		var trail tx.Trail
		for _, r := range resources {
			trail.Add(tx.Did(tx.Change{Resource: r, Action: "imported", ID: s.Org}))
		}
		return struct{}{}, trail, f(ctx, t)
	})
	return err
}

// small stores everything but the history: a few thousand rows.
func (l Loader) small(ctx context.Context, s tx.Scope, o *Org) error {
	err := l.do(ctx, s, []string{"organisation", "member", "customer", "site", "access_notes", "closure", "tank", "equipment"},
		func(ctx context.Context, t Tx) error {
			return inTurn(
				func() error { return t.InsertOrganisation(ctx, o.Organisation) },
				func() error { return t.AddMembers(ctx, o.Members) },
				func() error { return t.AddCustomers(ctx, o.Customers) },
				func() error { return t.AddSites(ctx, o.Sites) },
				func() error {
					return each(o.Notes, func(n fleet.AccessNotes) error { return t.SaveAccessNotes(ctx, n) })
				},
				func() error { return t.AddClosures(ctx, o.Closures) },
				func() error { return t.AddTanks(ctx, o.Tanks) },
				func() error { return t.AddEquipment(ctx, o.Equipment) })
		})
	if err != nil {
		return err
	}
	now, before := o.revisions()
	return l.do(ctx, s, []string{"livestock", "routine", "pause"}, func(ctx context.Context, t Tx) error {
		return inTurn(
			func() error { return t.AddLivestock(ctx, o.Livestock) },
			func() error { return t.AddLivestockEvents(ctx, o.Events) },
			func() error { return t.AddRoutines(ctx, now) },
			func() error { return t.AddRevisions(ctx, before) },
			func() error { return t.AddPauses(ctx, o.Pauses) },
			func() error {
				return each(o.RampEvents, func(e RampEvent) error { return t.InsertRampEvent(ctx, e.Routine, e.RampEvent, e.At, e.Actor) })
			})
	})
}

// revisions gives the routines as they are now, and what they said before.
func (o *Org) revisions() (now, before []work.Routine) { //nolint:nonamedreturns // which is which
	for _, r := range o.Routines {
		now = append(now, r.Routine)
		for _, f := range r.Earlier {
			before = append(before, work.Routine{Meta: r.Meta, Fields: f})
		}
	}
	return now, before
}

// history stores what was done: the records first, since what they close and
// the readings point to them.
func (l Loader) history(ctx context.Context, s tx.Scope, o *Org) error {
	g, inner := errgroup.WithContext(ctx)
	g.SetLimit(lanes)
	for rows := range slices.Chunk(o.Records, block) {
		g.Go(func() error {
			return l.do(inner, s, []string{"work_record"}, func(ctx context.Context, t Tx) error { return t.AddRecords(ctx, rows) })
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	g, inner = errgroup.WithContext(ctx)
	g.SetLimit(lanes)
	for _, all := range closings(o.Settlements) {
		g.Go(func() error {
			return l.do(inner, s, nil, func(ctx context.Context, t Tx) error { return t.AddDue(ctx, all) })
		})
	}
	for rows := range slices.Chunk(o.Readings, block) {
		g.Go(func() error {
			return l.do(inner, s, []string{"work_record"}, func(ctx context.Context, t Tx) error { return t.InsertReadings(ctx, rows) })
		})
	}
	return g.Wait()
}

// closings cuts settlements into blocks by the items they close.
func closings(all []work.Settlement) [][]work.Settlement {
	var out [][]work.Settlement
	begin, n := 0, 0
	for i, s := range all {
		if n += 1 + len(s.Settled.Closes); n >= block || i == len(all)-1 {
			out = append(out, all[begin:i+1])
			begin, n = i+1, 0
		}
	}
	return out
}

// inTurn runs steps until one fails.
func inTurn(steps ...func() error) error {
	for _, step := range steps {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

func each[T any](list []T, f func(T) error) error {
	for _, v := range list {
		if err := f(v); err != nil {
			return err
		}
	}
	return nil
}
