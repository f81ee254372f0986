package repo

import (
	"context"
	"testing"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/work"
)

// workThings is work at a tank of organisation A: a routine with another joined to
// it, a light ramp, a record with a reading that closes an item, and a void one.
type workThings struct {
	routine, joined, ramp work.Routine
	record, void          work.Record
	closed                care.Identity
	plans                 []work.Plan
}

// addRoutine adds a weekly water change, at a new tank unless a change names one.
func addRoutine(t *testing.T, w *world, s tx.Scope, change ...func(*work.RoutineFields)) work.Routine {
	t.Helper()
	f := work.RoutineFields{
		Name: "Water change", WorkKind: care.WaterChange, Class: care.WaterQuality, PartOfDay: "any", ActiveMinutes: 30,
		FirstDay: care.DayOf(testNow) - 20, CatchUp: care.Merge, PerformedBy: care.Technician,
		Cadence: care.Cadence{Kind: care.Interval, Every: 7, Unit: care.Days}, DaysLate: 2,
	}
	apply(&f, change)
	if f.TankID == uuid.Nil {
		f.TankID = addTank(t, w, s).ID
	}
	call := tx.Call[resource.Created[work.RoutineFields]]{Scope: s, Now: testNow}
	out, err := workOn(w.db).Routines.Create(t.Context(), call, newID(), f)
	if err != nil {
		t.Fatal(err)
	}
	return out.Result.Row
}

func recordWork(t *testing.T, w *world, s tx.Scope, r work.NewRecord) work.Record {
	t.Helper()
	r.ID = newID()
	out, err := workOn(w.db).RecordWork(t.Context(), tx.Call[[]work.Recorded]{Scope: s, Now: testNow}, []work.NewRecord{r}, true)
	if err != nil {
		t.Fatal(err)
	}
	return out.Result[0].Record
}

func ownWork(t *testing.T, w *world, s tx.Scope) workThings {
	t.Helper()
	var o workThings
	o.routine = addRoutine(t, w, s)
	tank := o.routine.Fields.TankID
	o.joined = addRoutine(t, w, s, func(f *work.RoutineFields) {
		f.TankID, f.Name, f.WorkKind = tank, "Sock", care.FilterSockChange
		f.Cadence = care.Cadence{Kind: care.Joined, Parent: o.routine.ID, Gap: care.Gap{Unit: care.Minutes, Greatest: 60}}
	})
	o.ramp = addRoutine(t, w, s, func(f *work.RoutineFields) {
		f.TankID, f.Name, f.WorkKind, f.DaysLate = tank, "Light", care.LightStep, 6
		f.Cadence = care.Cadence{Kind: care.OnRamp, Ramp: &care.RampPlan{
			From: 50, To: 100, Days: 28, StepDays: 7, Curve: care.Linear, GreatestRise: 12.5,
		}}
	})
	_, err := workOn(w.db).MoveRamp(t.Context(), tx.Call[work.RampView]{Scope: s, Now: testNow}, o.ramp.ID, care.Hold, "away")
	if err != nil {
		t.Fatal(err)
	}
	done := care.DayOf(testNow) - 1
	o.record = recordWork(t, w, s, work.NewRecord{
		RoutineID: o.routine.ID, DoneOn: &done, Result: care.Done,
		Readings: []work.NewReading{{Parameter: "salinity", Value: 35, TakenAt: testNow}},
	})
	o.void = recordWork(t, w, s, work.NewRecord{RoutineID: o.joined.ID, DoneOn: &done, Result: care.Done})
	if _, err := workOn(w.db).VoidRecord(t.Context(), tx.Call[work.Recorded]{Scope: s, Now: testNow}, o.void.ID, "wrong tank"); err != nil {
		t.Fatal(err)
	}
	_, closes, err := w.db.Stored(t.Context(), s)
	if err != nil || len(closes[o.routine.ID]) == 0 {
		t.Fatalf("nothing is closed: %v, %v", closes, err)
	}
	o.closed = closes[o.routine.ID][0].Identity
	if o.plans, _, err = w.db.Plans(t.Context(), s, nil, work.DueFilter{}, true); err != nil || len(o.plans) != 3 {
		t.Fatalf("%d plans, %v", len(o.plans), err)
	}
	return o
}

// finds makes an attempt of a method of DB that lists; a filter that names what
// is A's may be answered by an empty list or by NotFound.
func finds(list func(context.Context, *DB, tx.Scope, owned) (int, error)) attempt {
	return func(t *testing.T, w *world, own owned) {
		t.Helper()
		n, err := list(t.Context(), w.db, w.b.Scope, own)
		if err != nil && !fault.Is(err, fault.NotFound) {
			t.Error(err)
		}
		if n != 0 {
			t.Errorf("finds %d", n)
		}
		// The same call of A itself finds something, or it would prove nothing.
		if n, err := list(t.Context(), w.db, w.a.Scope, own); n == 0 || err != nil {
			t.Errorf("A itself finds %d, %v", n, err)
		}
	}
}

// noSuchPlace makes an attempt of a method of Tx that says where something is.
func noSuchPlace(of func(*Tx) func(context.Context, uuid.UUID) (work.Place, error), id func(owned) uuid.UUID) attempt {
	return notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := of(x)(ctx, id(o))
		return err
	})
}

var onWork = map[string]attempt{
	"Tx.Routines": tryStore("routine", (*Tx).Routines, func(o owned) work.Routine { return o.routine },
		func(f *work.RoutineFields) { f.Name = "spoiled" }),
	"Tx.Pauses": tryStore("pause", (*Tx).Pauses, func(o owned) work.Pause { return o.pause },
		func(f *work.PauseFields) { f.Reason = "spoiled" }),

	"Tx.RoutinePlace": noSuchPlace(func(x *Tx) func(context.Context, uuid.UUID) (work.Place, error) { return x.RoutinePlace },
		func(o owned) uuid.UUID { return o.routine.ID }),
	"Tx.TankPlace": noSuchPlace(func(x *Tx) func(context.Context, uuid.UUID) (work.Place, error) { return x.TankPlace },
		func(o owned) uuid.UUID { return o.tank.ID }),
	"Tx.PausePlace": noSuchPlace(func(x *Tx) func(context.Context, uuid.UUID) (work.Place, error) { return x.PausePlace },
		func(o owned) uuid.UUID { return o.pause.ID }),
	"Tx.ClosureSite": notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := x.ClosureSite(ctx, o.closure.ID)
		return err
	}),
	"Tx.LockTanks": none(func(ctx context.Context, x *Tx, o owned) (int, error) { return x.LockTanks(ctx, o.site.ID) }),
	"Tx.HasMember": none(func(ctx context.Context, x *Tx, o owned) (int, error) {
		known, err := x.HasMember(ctx, o.member.ID, true)
		if known {
			return 1, err
		}
		return 0, err
	}),
	"Tx.RecordHash": notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := x.RecordHash(ctx, o.record.ID)
		return err
	}),
	"Tx.LoadRecord": notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := x.LoadRecord(ctx, o.record.ID)
		return err
	}),
	"Tx.TanksInUse": none(func(ctx context.Context, x *Tx, o owned) (int, error) { return x.TanksInUse(ctx, o.site.ID) }),
	"Tx.Links": none(func(ctx context.Context, x *Tx, o owned) (int, error) {
		links, err := x.Links(ctx, o.routine.Fields.TankID)
		return len(links), err
	}),
	"Tx.OpenPauses": none(func(ctx context.Context, x *Tx, o owned) (int, error) {
		pauses, err := x.OpenPauses(ctx, o.pause.Fields.TankID)
		return len(pauses), err
	}),
	"Tx.CloserOf": mineOnly("", func(ctx context.Context, t *testing.T, x *Tx, o owned) error {
		t.Helper()
		id, err := x.CloserOf(ctx, o.routine.ID, o.closed)
		if id != uuid.Nil {
			t.Errorf("closed by %s", id)
		}
		return err
	}),
	"Tx.Histories": mineOnly("", func(ctx context.Context, t *testing.T, x *Tx, o owned) error {
		t.Helper()
		for _, sel := range []work.Selection{
			{Routine: o.routine.ID}, {Tank: o.routine.Fields.TankID}, {Site: o.routine.Fields.SiteID}, {Everything: true},
		} {
			sel.Since = care.MinDay
			plans, err := x.Histories(ctx, sel)
			if err != nil && !fault.Is(err, fault.NotFound) {
				return err
			}
			if len(plans) != 0 {
				t.Errorf("%+v finds %d histories", sel, len(plans))
			}
		}
		return nil
	}),
	"Tx.WriteDue": func(t *testing.T, w *world, own owned) {
		t.Helper()
		err := asB(t, w, "", func(ctx context.Context, x *Tx) error {
			return x.WriteDue(ctx, []work.Settlement{{Plan: own.plans[0], Settled: care.Settle(own.plans[0].History)}})
		})
		wantFault(t, err, fault.Conflict)
		err = asB(t, w, "", func(ctx context.Context, x *Tx) error {
			return x.WriteDue(ctx, []work.Settlement{{Plan: own.plans[0], Settled: care.Settled{Stored: care.Stored{None: true}}}})
		})
		if err != nil {
			t.Error(err)
		}
	},
	"Tx.DropDue": mineOnly("", func(ctx context.Context, _ *testing.T, x *Tx, o owned) error {
		return x.DropDue(ctx, o.routine.ID, o.routine.Fields.TankID)
	}),
	"Tx.InsertRecord": func(t *testing.T, w *world, own owned) {
		t.Helper()
		r := own.record
		r.Readings = nil
		wantFault(t, asB(t, w, "work_record", func(ctx context.Context, x *Tx) error {
			_, err := x.InsertRecord(ctx, r, [32]byte{})
			return err
		}), fault.Conflict)
	},
	"Tx.SaveVoid": mineOnly("work_record", func(ctx context.Context, _ *testing.T, x *Tx, o owned) error {
		return x.SaveVoid(ctx, o.record.ID, work.Void{At: testNow, By: x.actor, Reason: "spoiled"})
	}),
	"Tx.InsertReadings": func(t *testing.T, w *world, own owned) {
		t.Helper()
		wantFault(t, asB(t, w, "work_record", func(ctx context.Context, x *Tx) error {
			return x.InsertReadings(ctx, []work.Reading{{
				ID: newID(), TankID: own.tank.ID, Parameter: "salinity", Value: 1, TakenAt: testNow,
			}})
		}), fault.Conflict)
	},
	"Tx.InsertRampEvent": func(t *testing.T, w *world, own owned) {
		t.Helper()
		wantFault(t, asB(t, w, "routine", func(ctx context.Context, x *Tx) error {
			e := work.RampEvent{ID: newID(), Kind: care.Resume, Day: care.DayOf(testNow), Reason: "spoiled"}
			return x.InsertRampEvent(ctx, own.ramp.ID, e, testNow, x.actor)
		}), fault.Conflict)
	},

	"DB.Routine": tryRead(readOf((*DB).Routine), func(o owned) uuid.UUID { return o.routine.ID }),
	"DB.Pause":   tryRead(readOf((*DB).Pause), func(o owned) uuid.UUID { return o.pause.ID }),
	"DB.Record":  tryRead(readOf((*DB).Record), func(o owned) uuid.UUID { return o.record.ID }),
	"DB.Routines": finds(func(ctx context.Context, db *DB, s tx.Scope, o owned) (int, error) {
		page, err := db.Routines(ctx, s, work.RoutineFilter{Tank: o.routine.Fields.TankID}, resource.Paging{Limit: 100})
		return len(page.Items), err
	}),
	"DB.ListPauses": finds(func(ctx context.Context, db *DB, s tx.Scope, o owned) (int, error) {
		page, err := db.ListPauses(ctx, s, o.pause.Fields.TankID, uuid.Nil, resource.Paging{Limit: 100})
		return len(page.Items), err
	}),
	"DB.Revisions": finds(func(ctx context.Context, db *DB, s tx.Scope, o owned) (int, error) {
		all, _, err := db.Revisions(ctx, s, o.routine.ID)
		return len(all), err
	}),
	"DB.Records": finds(func(ctx context.Context, db *DB, s tx.Scope, o owned) (int, error) {
		page, err := db.Records(ctx, s, work.RecordFilter{Routine: o.routine.ID}, resource.Paging{Limit: 100})
		return len(page.Items), err
	}),
	"DB.Readings": finds(func(ctx context.Context, db *DB, s tx.Scope, o owned) (int, error) {
		page, err := db.Readings(ctx, s, work.ReadingFilter{Tank: o.routine.Fields.TankID}, resource.Paging{Limit: 100})
		return len(page.Items), err
	}),
	"DB.DueRows": finds(func(ctx context.Context, db *DB, s tx.Scope, _ owned) (int, error) {
		all, _, err := db.DueRows(ctx, s, work.DueFilter{}, work.DuePage{UpTo: care.DayOf(testNow) + 60, Limit: 100})
		return len(all), err
	}),
	"DB.Plans": finds(func(ctx context.Context, db *DB, s tx.Scope, o owned) (int, error) {
		all, _, err := db.Plans(ctx, s, []uuid.UUID{o.routine.ID, o.joined.ID}, work.DueFilter{}, true)
		return len(all), err
	}),
	"DB.Stored": finds(func(ctx context.Context, db *DB, s tx.Scope, _ owned) (int, error) {
		stored, closes, err := db.Stored(ctx, s)
		return len(stored) + len(closes), err
	}),
}
