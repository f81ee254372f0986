package repo

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/stock"
	"tankward/service/tx"
	"tankward/service/work"
)

// What is added in bulk reads back as if it had been added one by one.
func TestBulkReadsBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	own := ownThings(t, w)
	day, at, minutes, level := care.DayOf(testNow)-3, testNow.AddDate(0, 0, -3), 25, 62.5
	record := work.Record{
		NewRecord: work.NewRecord{
			ID: newID(), RoutineID: own.workThings.routine.ID, TankID: own.workThings.routine.Fields.TankID, WorkKind: care.WaterChange,
			Names: &care.Identity{NominalDue: day, Ordinal: 1}, DoneOn: &day, DoneAt: &at, Result: care.Partly, Share: 40, Reason: "hose burst",
			Minutes: &minutes, Amounts: []work.Material{{Material: "salt_water", Quantity: 30, Unit: "l"}}, Level: &level, Note: "the rest tomorrow",
			DoneBy: &work.DoneBy{Kind: "keeper", Name: "night porter"},
		},
		SiteID: own.workThings.routine.Fields.SiteID, ReceivedAt: testNow, RecordedBy: w.a.Actor,
	}
	bare := work.Record{
		NewRecord: work.NewRecord{
			ID: newID(), TankID: own.tank.ID, WorkKind: care.Inspection, DoneOn: &day, Result: care.Done,
			DoneBy: &work.DoneBy{Kind: "member", ID: w.a.Actor},
		},
		SiteID: own.tank.Fields.SiteID, ReceivedAt: testNow, RecordedBy: w.a.Actor,
	}
	must(t, w.db, w.a.Scope, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		return tx.Did(tx.Change{Resource: "work_record", Action: "imported", ID: w.a.Org}), NewBulk(x).AddRecords(ctx, []work.Record{record, bare})
	})
	for _, want := range []work.Record{record, bare} {
		got, err := w.db.Record(t.Context(), w.a.Scope, want.ID)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("record (-want +got):\n%s", diff)
		}
	}
}

// Rows that name what belongs to another organisation are refused; rows that
// name nothing become the transaction's own, and the other's stay as they are.
func TestBulkFromOutside(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	own := ownThings(t, w)
	before := snapshot(t, w)
	tries := map[string]struct {
		resource string
		refers   bool
		add      func(context.Context, Bulk) error
	}{
		"members":   {"member", false, func(ctx context.Context, b Bulk) error { return b.AddMembers(ctx, []access.Member{own.member}) }},
		"customers": {"customer", false, func(ctx context.Context, b Bulk) error { return b.AddCustomers(ctx, []fleet.Customer{own.customer}) }},
		"sites":     {"site", true, func(ctx context.Context, b Bulk) error { return b.AddSites(ctx, []fleet.Site{own.site}) }},
		"closures":  {"closure", true, func(ctx context.Context, b Bulk) error { return b.AddClosures(ctx, []fleet.Closure{own.closure}) }},
		"tanks":     {"tank", true, func(ctx context.Context, b Bulk) error { return b.AddTanks(ctx, []fleet.Tank{own.tank}) }},
		"equipment": {"equipment", true, func(ctx context.Context, b Bulk) error { return b.AddEquipment(ctx, []fleet.Equipment{own.device}) }},
		"livestock": {"livestock", true, func(ctx context.Context, b Bulk) error { return b.AddLivestock(ctx, []stock.Livestock{own.animals}) }},
		"events":    {"livestock", true, func(ctx context.Context, b Bulk) error { return b.AddLivestockEvents(ctx, []stock.Event{own.event}) }},
		"pauses":    {"pause", true, func(ctx context.Context, b Bulk) error { return b.AddPauses(ctx, []work.Pause{own.pause}) }},
		"routines": {"routine", true, func(ctx context.Context, b Bulk) error {
			return b.AddRoutines(ctx, []work.Routine{own.workThings.routine})
		}},
		"revisions": {"routine", true, func(ctx context.Context, b Bulk) error {
			return b.AddRevisions(ctx, []work.Routine{own.workThings.routine})
		}},
		"records": {"work_record", true, func(ctx context.Context, b Bulk) error {
			return b.AddRecords(ctx, []work.Record{own.workThings.record})
		}},
		"due": {"", true, func(ctx context.Context, b Bulk) error {
			p := own.workThings.plans[0]
			return b.AddDue(ctx, []work.Settlement{{Plan: p, Settled: care.Settle(p.History)}})
		}},
	}
	// First what refers to rows of A, then what is allowed to have their ids: the
	// second would let the first succeed.
	for _, refers := range []bool{true, false} {
		for name, try := range tries {
			if try.refers != refers {
				continue
			}
			err := asB(t, w, try.resource, func(ctx context.Context, x *Tx) error { return try.add(ctx, NewBulk(x)) })
			switch {
			case refers && !fault.Is(err, fault.Conflict):
				t.Errorf("%s: got %v, want a conflict", name, err)
			case !refers && err != nil:
				t.Errorf("%s: %v", name, err)
			}
			if diff := cmp.Diff(before, snapshot(t, w)); diff != "" {
				t.Errorf("%s: organisation A changed (-before +after):\n%s", name, diff)
			}
		}
	}
}

func TestMark(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	o, err := OpenOwned(t.Context(), w.url)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = o.Close(context.WithoutCancel(t.Context())) }()
	if empty, err := o.Empty(t.Context()); err != nil || empty {
		t.Errorf("a migrated database is empty: %t, %v", empty, err)
	}
	if _, marked, err := o.Mark(t.Context()); err != nil || marked {
		t.Errorf("a database without a mark is marked: %t, %v", marked, err)
	}
	for _, want := range []Mark{{Edition: "one"}, {Edition: "one", Loaded: true}} {
		if err := o.SetMark(t.Context(), want); err != nil {
			t.Fatal(err)
		}
		if got, marked, err := o.Mark(t.Context()); err != nil || !marked || got != want {
			t.Errorf("mark %+v, %t, %v; want %+v", got, marked, err, want)
		}
	}
	if err := o.Wipe(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, marked, err := o.Mark(t.Context()); err != nil || !marked {
		t.Errorf("the mark is gone with the rows: %t, %v", marked, err)
	}
	if err := Migrate(t.Context(), w.url); err != nil {
		t.Errorf("migrate what was wiped: %v", err)
	}
	if id, err := SchemaEdition(); err != nil || len(id) != 64 || id == uuid.Nil.String() {
		t.Errorf("schema edition %q, %v", id, err)
	}
}
