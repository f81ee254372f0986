package repo

import (
	"context"
	"testing"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/resource"
	"tankward/service/stock"
	"tankward/service/tx"
)

// none makes an attempt of a method that counts: from outside it finds nothing.
func none(count func(context.Context, *Tx, owned) (int, error)) attempt {
	return mineOnly("", func(ctx context.Context, t *testing.T, x *Tx, o owned) error {
		t.Helper()
		n, err := count(ctx, x, o)
		if n != 0 {
			t.Errorf("counted %d", n)
		}
		return err
	})
}

var livestockAndSpecies = map[string]attempt{
	"Tx.Species": tryStore("species", (*Tx).Species, func(o owned) stock.OwnSpecies { return o.species },
		func(f *stock.SpeciesFields) { f.TradeName = "spoiled" }),
	"Tx.Livestock": tryStore("livestock", (*Tx).Livestock, func(o owned) stock.Livestock { return o.animals },
		func(f *stock.LivestockFields) { f.Count = 77 }),
	"Tx.LivestockTank": notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := x.LivestockTank(ctx, o.animals.ID)
		return err
	}),
	"Tx.TankZone": notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := x.TankZone(ctx, o.tank.ID)
		return err
	}),
	"Tx.Kit": notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := x.Kit(ctx, o.tank.ID)
		return err
	}),
	"Tx.LivestockEventHash": notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := x.LivestockEventHash(ctx, o.event.ID)
		return err
	}),
	"Tx.LoadLivestockEvent": notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := x.LoadLivestockEvent(ctx, o.event.ID)
		return err
	}),
	"Tx.TankRests": mineOnly("", func(ctx context.Context, t *testing.T, x *Tx, o owned) error {
		t.Helper()
		rests, err := x.TankRests(ctx, o.pause.Fields.TankID, care.DayOf(testNow))
		if rests {
			t.Error("the other organisation's pause is seen")
		}
		return err
	}),
	"Tx.LivingStock": none(func(ctx context.Context, x *Tx, o owned) (int, error) { return x.LivingStock(ctx, o.tank.ID) }),
	"Tx.LivestockOf": none(func(ctx context.Context, x *Tx, o owned) (int, error) { return x.LivestockOf(ctx, o.species.ID) }),
	"Tx.LeastCount": none(func(ctx context.Context, x *Tx, o owned) (int, error) {
		return x.LeastCount(ctx, o.animals.ID, o.event.Day)
	}),
	"Tx.InsertLivestockEvent": func(t *testing.T, w *world, own owned) {
		t.Helper()
		e := own.event
		e.Delta = 99
		wantFault(t, asB(t, w, "livestock", func(ctx context.Context, x *Tx) error {
			_, err := x.InsertLivestockEvent(ctx, e, [32]byte{})
			return err
		}), fault.Conflict)
	},

	"DB.OwnSpecies": tryRead(readOf((*DB).OwnSpecies), func(o owned) uuid.UUID { return o.species.ID }),
	"DB.Livestock":  tryRead(readOf((*DB).Livestock), func(o owned) uuid.UUID { return o.animals.ID }),
	"DB.Kit":        tryRead(readOf((*DB).Kit), func(o owned) uuid.UUID { return o.tank.ID }),
	"DB.LivestockEvents": func(t *testing.T, w *world, own owned) {
		t.Helper()
		_, err := w.db.LivestockEvents(t.Context(), w.b.Scope, own.animals.ID, resource.Paging{Limit: 100})
		wantFault(t, err, fault.NotFound)
	},
	"DB.LivestockList": tryList(func(db *DB, s tx.Scope, p resource.Paging, o owned) (resource.Page[stock.Livestock], error) {
		return db.LivestockList(context.Background(), s, stock.LivestockFilter{Tank: o.tank.ID, Species: o.animals.Fields.Species}, p)
	}),
	"DB.OwnSpeciesAfter": func(t *testing.T, w *world, _ owned) {
		t.Helper()
		found, _, err := w.db.OwnSpeciesAfter(t.Context(), w.b.Scope, stock.SpeciesFilter{}, stock.SpeciesKey{}, 100)
		if len(found) != 0 || err != nil {
			t.Errorf("found %v, error %v", found, err)
		}
	},
}
