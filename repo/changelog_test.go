package repo

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"tankward/service/tx"
)

type changeRow struct {
	Seq      int64
	At       time.Time
	Resource string
	Action   string
	ID       uuid.UUID
	SiteID   *uuid.UUID
	TankID   *uuid.UUID
	ActorID  uuid.UUID
	Fields   []string
}

// changes gives the head and, read after it in the same transaction, all changes.
func changes(ctx context.Context, db *DB, s tx.Scope) (int64, []changeRow, error) {
	var head int64
	var all []changeRow
	err := db.read(ctx, s,
		query{selectHead, []any{s.Org}, value(&head)},
		query{`
	SELECT
		seq,
		at,
		resource,
		action,
		id,
		site_id,
		tank_id,
		actor_id,
		fields
	FROM change
	WHERE org_id = $1
	ORDER BY seq`, []any{s.Org}, into(&all, func(r changeRow) changeRow { return r })})
	return head, all, err
}

func TestChangeLogSaysWhatChanged(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	start, err := w.db.Head(t.Context(), w.a.Scope)
	if err != nil {
		t.Fatal(err)
	}
	site, tank, one, two := newID(), newID(), newID(), newID()
	must(t, w.db, w.a.Scope, func(context.Context, *Tx) (tx.Trail, error) {
		return tx.Trail{Changes: []tx.Change{
			{Resource: "tank", Action: "changed", ID: one, Site: site, Tank: tank, Fields: []string{"name", "sump_l"}},
			{Resource: "customer", Action: "archived", ID: two},
		}}, nil
	})
	_, all, err := changes(t.Context(), w.db, w.a.Scope)
	if err != nil {
		t.Fatal(err)
	}
	want := []changeRow{
		{start + 1, testNow, "tank", "changed", one, &site, &tank, w.a.Actor, []string{"name", "sump_l"}},
		{start + 2, testNow, "customer", "archived", two, nil, nil, w.a.Actor, []string{}},
	}
	for i := range all {
		all[i].At = all[i].At.UTC()
	}
	if diff := cmp.Diff(want, all[start:]); diff != "" {
		t.Errorf("changes (-want +got):\n%s", diff)
	}
}

const (
	writers        = 50
	changesAWriter = 8
)

// Fifty writers at once leave no gap, number in the order of their commits, and
// whoever sees a number sees all before it.
func TestChangeLogInCommitOrder(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	start, err := w.db.Head(t.Context(), w.a.Scope)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	readers := make(chan error, 2)
	for range cap(readers) {
		go func() { readers <- followLog(ctx, w.db, w.a.Scope) }()
	}
	done := make(chan error, writers)
	for n := range writers {
		go func() { done <- writeInTurn(t.Context(), w.db, w.a.Scope, n) }()
	}
	for range writers {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	stop()
	for range cap(readers) {
		if err := <-readers; err != nil {
			t.Error(err)
		}
	}
	head, all, err := changes(t.Context(), w.db, w.a.Scope)
	if err != nil {
		t.Fatal(err)
	}
	all = all[start:]
	if len(all) != 2*writers*changesAWriter || head != start+int64(len(all)) {
		t.Fatalf("%d changes, head %d, began at %d", len(all), head, start)
	}
	last := map[uuid.UUID]string{}
	for i := 0; i < len(all); i += 2 {
		if all[i].Seq != start+int64(i)+1 || all[i+1].Seq != start+int64(i)+2 {
			t.Fatalf("change %d has number %d, then %d", i, all[i].Seq, all[i+1].Seq)
		}
		// The two changes of one command stand together.
		if all[i].ID != all[i+1].ID || all[i].Action != all[i+1].Action {
			t.Errorf("numbers %d and %d are of two commands", all[i].Seq, all[i+1].Seq)
		}
		// A writer begins when its last command is committed.
		if all[i].Action <= last[all[i].ID] {
			t.Errorf("%s of a writer comes after its %s", all[i].Action, last[all[i].ID])
		}
		last[all[i].ID] = all[i].Action
	}
}

// writeInTurn makes commands of two changes each, one after the other.
func writeInTurn(ctx context.Context, db *DB, s tx.Scope, n int) error {
	id := newID()
	for i := range changesAWriter {
		err := command(ctx, db, s, func(context.Context, *Tx) (tx.Trail, error) {
			c := tx.Change{Resource: "customer", Action: fmt.Sprintf("step %02d", i), ID: id}
			return tx.Trail{Changes: []tx.Change{c, c}}, nil
		})
		if err != nil {
			return fmt.Errorf("writer %d: %w", n, err)
		}
	}
	return nil
}

// followLog reads the log over and over: what it saw stays, and it is always whole
// from the first number on.
func followLog(ctx context.Context, db *DB, s tx.Scope) error {
	var seen []changeRow
	for ctx.Err() == nil {
		head, all, err := changes(context.WithoutCancel(ctx), db, s)
		if err != nil {
			return err
		}
		if int64(len(all)) < head {
			return fmt.Errorf("the head is %d, and only %d changes are there", head, len(all))
		}
		for i, c := range all {
			if c.Seq != int64(i)+1 {
				return fmt.Errorf("change %d has number %d", i+1, c.Seq)
			}
		}
		if len(all) < len(seen) || len(seen) > 0 && !cmp.Equal(seen, all[:len(seen)]) {
			return errors.New("what was read before has changed")
		}
		seen = all
	}
	return nil
}
