package repo

import (
	"context"
	"errors"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/stock"
	"tankward/service/tx"
	"tankward/service/work"
)

// attempt calls one method from organisation B with what belongs to A. It gives
// what it was told, and leaves A as it was.
type attempt func(t *testing.T, w *world, own owned)

// owned is what organisation A has.
type owned struct {
	member   access.Member
	key      access.NewKey
	customer fleet.Customer
	site     fleet.Site
	closure  fleet.Closure
	tank     fleet.Tank
	device   fleet.Equipment
	species  stock.OwnSpecies
	animals  stock.Livestock
	event    stock.Event // the animals' arrival
	pause    work.Pause  // of a tank without animals
	workThings
	roundThings
}

func ownThings(t *testing.T, w *world) owned {
	t.Helper()
	var o owned
	s := w.a.Scope
	o.member = addMember(t, w, s)
	o.key = addKey(t, w, s, o.member.ID)
	o.customer = addCustomer(t, w, s)
	o.site = addSite(t, w, s, func(f *fleet.SiteFields) {
		f.CustomerID, f.ResponsibleMember = o.customer.ID, o.member.ID
	})
	o.closure = addClosure(t, w, s, func(f *fleet.ClosureFields) { f.SiteID = o.site.ID })
	o.tank = addTank(t, w, s, func(f *fleet.TankFields) { f.SiteID = o.site.ID })
	o.device = addEquipment(t, w, s, func(f *fleet.EquipmentFields) { f.TankID = o.tank.ID })
	o.species = addSpecies(t, w, s)
	o.animals = addLivestock(t, w, s, func(f *stock.LivestockFields) {
		f.TankID, f.Species = o.tank.ID, stock.SpeciesID{Own: o.species.ID}
	})
	o.event = eventsOf(t, w, s, o.animals.ID)[0]
	o.pause = addPause(t, w, s)
	o.workThings = ownWork(t, w, s)
	o.roundThings = ownRound(t, w, s)
	must(t, w.db, s, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		err := x.SaveAccessNotes(ctx, fleet.AccessNotes{SiteID: o.site.ID, Version: 1, Notes: "ring twice"})
		return tx.Did(tx.Change{Resource: "access_notes", Action: "created", ID: o.site.ID}), err
	})
	return o
}

// asB runs f in a transaction of organisation B that is committed.
func asB(t *testing.T, w *world, resources string, f func(context.Context, *Tx) error) error {
	t.Helper()
	return command(t.Context(), w.db, w.b.Scope, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		var trail tx.Trail
		for r := range strings.FieldsSeq(resources) {
			trail.Add(tx.Did(tx.Change{Resource: r, Action: "created", ID: newID()}))
		}
		return trail, f(ctx, x)
	})
}

// tryStore tries all four methods of a store on a row of A.
func tryStore[F any](name string, of func(*Tx) resource.Store[F], row func(owned) resource.Row[F], spoil func(*F)) attempt {
	return func(t *testing.T, w *world, own owned) {
		t.Helper()
		r := row(own)
		wantFault(t, asB(t, w, "", func(ctx context.Context, x *Tx) error {
			_, err := of(x).Load(ctx, r.ID)
			return err
		}), fault.NotFound)
		wantFault(t, asB(t, w, "", func(ctx context.Context, x *Tx) error {
			_, err := of(x).CreateHash(ctx, r.ID)
			return err
		}), fault.NotFound)
		spoiled := r
		spoil(&spoiled.Fields)
		spoiled.Version, spoiled.ArchivedAt = 99, &testNow
		err := asB(t, w, name, func(ctx context.Context, x *Tx) error { return of(x).Save(ctx, spoiled) })
		if err != nil && !fault.Is(err, fault.Conflict) {
			t.Errorf("saving what is not there: %v", err)
		}
		// The id is free in B, where nothing is to stay. Where the row names
		// something else of A, that is not found either.
		undo := fault.Denied("undo")
		err = asB(t, w, name, func(ctx context.Context, x *Tx) error {
			ok, err := of(x).Insert(ctx, r, [32]byte{})
			if err == nil && !ok {
				t.Errorf("%s: the other organisation's id is taken", name)
			}
			if err == nil {
				return undo
			}
			return err
		})
		if !errors.Is(err, undo) && !fault.Is(err, fault.Conflict) {
			t.Errorf("%s: insert: %v", name, err)
		}
		if refers := !slices.Contains([]string{"member", "customer", "species"}, name); refers == errors.Is(err, undo) {
			t.Errorf("%s: insert gave %v", name, err)
		}
	}
}

// tryRead tries a method of DB that gives one row.
func tryRead[T any](get func(*DB) func(context.Context, tx.Scope, uuid.UUID) (T, error), id func(owned) uuid.UUID) attempt {
	return func(t *testing.T, w *world, own owned) {
		t.Helper()
		_, err := get(w.db)(t.Context(), w.b.Scope, id(own))
		wantFault(t, err, fault.NotFound)
	}
}

// tryList tries a method of DB that gives a page: a filter that names something of
// A finds nothing, and without one nothing of A is among the items.
func tryList[F any](list func(*DB, tx.Scope, resource.Paging, owned) (resource.Page[resource.Row[F]], error)) attempt {
	return func(t *testing.T, w *world, own owned) {
		t.Helper()
		for _, with := range []owned{{}, own} {
			page, err := list(w.db, w.b.Scope, resource.Paging{Limit: 100}, with)
			if err != nil {
				t.Fatal(err)
			}
			for _, item := range page.Items {
				if item.ID != w.b.Actor && item.ID != w.b.first.Key.ID {
					t.Errorf("the list holds %s", item.ID)
				}
			}
		}
	}
}

// notMine tries a method of Tx that has to find nothing.
func notMine(f func(context.Context, *Tx, owned) error) attempt {
	return func(t *testing.T, w *world, own owned) {
		t.Helper()
		wantFault(t, asB(t, w, "", func(ctx context.Context, x *Tx) error { return f(ctx, x, own) }), fault.NotFound)
	}
}

// mineOnly tries a method that acts on the transaction's own organisation
// whatever it is told; it must succeed.
func mineOnly(resources string, f func(context.Context, *testing.T, *Tx, owned) error) attempt {
	return func(t *testing.T, w *world, own owned) {
		t.Helper()
		if err := asB(t, w, resources, func(ctx context.Context, x *Tx) error { return f(ctx, t, x, own) }); err != nil {
			t.Error(err)
		}
	}
}

// fromOutside has an attempt for the exported methods of Tx and DB.
var fromOutside = together(accessAndFleet, livestockAndSpecies, onWork, onRounds)

func together(parts ...map[string]attempt) map[string]attempt {
	out := map[string]attempt{}
	for _, p := range parts {
		maps.Copy(out, p)
	}
	return out
}

var accessAndFleet = map[string]attempt{
	"Tx.Members": tryStore("member", (*Tx).Members, func(o owned) access.Member { return o.member },
		func(f *access.MemberFields) { f.Name = "spoiled" }),
	"Tx.AccessKeys": tryStore("access_key", (*Tx).AccessKeys, func(o owned) access.AccessKey { return o.key.Key },
		func(f *access.KeyFields) { f.Label = "spoiled" }),
	"Tx.Customers": tryStore("customer", (*Tx).Customers, func(o owned) fleet.Customer { return o.customer },
		func(f *fleet.CustomerFields) { f.Name = "spoiled" }),
	"Tx.Sites": tryStore("site", (*Tx).Sites, func(o owned) fleet.Site { return o.site },
		func(f *fleet.SiteFields) { f.Name = "spoiled" }),
	"Tx.Closures": tryStore("closure", (*Tx).Closures, func(o owned) fleet.Closure { return o.closure },
		func(f *fleet.ClosureFields) { f.Reason = "spoiled" }),
	"Tx.Tanks": tryStore("tank", (*Tx).Tanks, func(o owned) fleet.Tank { return o.tank },
		func(f *fleet.TankFields) { f.Name = "spoiled" }),
	"Tx.Equipment": tryStore("equipment", (*Tx).Equipment, func(o owned) fleet.Equipment { return o.device },
		func(f *fleet.EquipmentFields) { f.Label = "spoiled" }),

	"Tx.MemberRole": notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := x.MemberRole(ctx, o.member.ID)
		return err
	}),
	"Tx.ShareSite": notMine(func(ctx context.Context, x *Tx, o owned) error {
		_, err := x.ShareSite(ctx, o.site.ID)
		return err
	}),
	"Tx.OtherOwners": mineOnly("", func(ctx context.Context, t *testing.T, x *Tx, o owned) error {
		t.Helper()
		n, err := x.OtherOwners(ctx, o.member.ID)
		if n != 1 {
			t.Errorf("%d owners, want only the own one", n)
		}
		return err
	}),
	"Tx.RevokeKeysOf": mineOnly("", func(ctx context.Context, t *testing.T, x *Tx, o owned) error {
		t.Helper()
		ids, err := x.RevokeKeysOf(ctx, o.member.ID, testNow)
		if len(ids) != 0 {
			t.Errorf("revoked %v", ids)
		}
		return err
	}),
	"Tx.OpenKey": mineOnly("access_key", func(ctx context.Context, t *testing.T, x *Tx, o owned) error {
		t.Helper()
		return x.OpenKey(ctx, o.key.Key, [32]byte{1}) // belongs to B, where there is no such key
	}),
	"Tx.LoadAccessNotes": mineOnly("", func(ctx context.Context, t *testing.T, x *Tx, o owned) error {
		t.Helper()
		n, err := x.LoadAccessNotes(ctx, o.site.ID)
		if n.Version != 0 || n.Notes != "" {
			t.Errorf("loaded %v", n)
		}
		return err
	}),
	"Tx.SaveAccessNotes": func(t *testing.T, w *world, own owned) {
		t.Helper()
		wantFault(t, asB(t, w, "access_notes", func(ctx context.Context, x *Tx) error {
			return x.SaveAccessNotes(ctx, fleet.AccessNotes{SiteID: own.site.ID, Version: 9, Notes: "spoiled"})
		}), fault.Conflict)
	},
	"Tx.LoadOrganisation": mineOnly("", func(ctx context.Context, t *testing.T, x *Tx, _ owned) error {
		t.Helper()
		return ownOrganisation(ctx, t, x, (*Tx).LoadOrganisation)
	}),
	"Tx.ShareOrganisation": mineOnly("", func(ctx context.Context, t *testing.T, x *Tx, _ owned) error {
		t.Helper()
		return ownOrganisation(ctx, t, x, (*Tx).ShareOrganisation)
	}),
	"Tx.SaveOrganisation": func(t *testing.T, w *world, _ owned) {
		t.Helper()
		a, err := w.db.Organisation(t.Context(), w.a.Scope)
		if err != nil {
			t.Fatal(err)
		}
		a.Fields.Name = "saved under B"
		if err := asB(t, w, "organisation", func(ctx context.Context, x *Tx) error { return x.SaveOrganisation(ctx, a) }); err != nil {
			t.Fatal(err)
		}
	},
	"Tx.InsertOrganisation": func(t *testing.T, w *world, _ owned) {
		t.Helper()
		wantFault(t, asB(t, w, "organisation", func(ctx context.Context, x *Tx) error {
			return x.InsertOrganisation(ctx, fleet.Organisation{
				Meta: resource.Meta{ID: w.a.Org, Version: 1, CreatedAt: testNow, UpdatedAt: testNow}, Fields: fleet.OrganisationFields{
					Name: "again", Kind: "club", TimeZone: "Europe/Lisbon",
				},
			})
		}), fault.Conflict)
	},

	"DB.Member":      tryRead(readOf((*DB).Member), func(o owned) uuid.UUID { return o.member.ID }),
	"DB.AccessKey":   tryRead(readOf((*DB).AccessKey), func(o owned) uuid.UUID { return o.key.Key.ID }),
	"DB.Customer":    tryRead(readOf((*DB).Customer), func(o owned) uuid.UUID { return o.customer.ID }),
	"DB.Site":        tryRead(readOf((*DB).Site), func(o owned) uuid.UUID { return o.site.ID }),
	"DB.AccessNotes": tryRead(readOf((*DB).AccessNotes), func(o owned) uuid.UUID { return o.site.ID }),
	"DB.Closure":     tryRead(readOf((*DB).Closure), func(o owned) uuid.UUID { return o.closure.ID }),
	"DB.Tank":        tryRead(readOf((*DB).Tank), func(o owned) uuid.UUID { return o.tank.ID }),
	"DB.Equipment":   tryRead(readOf((*DB).Equipment), func(o owned) uuid.UUID { return o.device.ID }),

	"DB.Members": tryList(func(db *DB, s tx.Scope, p resource.Paging, _ owned) (resource.Page[access.Member], error) {
		return db.Members(context.Background(), s, access.MemberFilter{}, p)
	}),
	"DB.AccessKeys": tryList(func(db *DB, s tx.Scope, p resource.Paging, o owned) (resource.Page[access.AccessKey], error) {
		return db.AccessKeys(context.Background(), s, o.member.ID, p)
	}),
	"DB.Customers": tryList(func(db *DB, s tx.Scope, p resource.Paging, _ owned) (resource.Page[fleet.Customer], error) {
		return db.Customers(context.Background(), s, p)
	}),
	"DB.Sites": tryList(func(db *DB, s tx.Scope, p resource.Paging, o owned) (resource.Page[fleet.Site], error) {
		return db.Sites(context.Background(), s, fleet.SiteFilter{Customer: o.customer.ID, ResponsibleMember: o.member.ID}, p)
	}),
	"DB.Closures": tryList(func(db *DB, s tx.Scope, p resource.Paging, o owned) (resource.Page[fleet.Closure], error) {
		return db.Closures(context.Background(), s, fleet.ClosureFilter{Site: o.site.ID}, p)
	}),
	"DB.Tanks": tryList(func(db *DB, s tx.Scope, p resource.Paging, o owned) (resource.Page[fleet.Tank], error) {
		return db.Tanks(context.Background(), s, fleet.TankFilter{Site: o.site.ID}, p)
	}),
	"DB.EquipmentList": tryList(func(db *DB, s tx.Scope, p resource.Paging, o owned) (resource.Page[fleet.Equipment], error) {
		return db.EquipmentList(context.Background(), s, fleet.EquipmentFilter{Tank: o.tank.ID}, p)
	}),
	"DB.Organisation": func(t *testing.T, w *world, _ owned) {
		t.Helper()
		o, err := w.db.Organisation(t.Context(), w.b.Scope)
		if err != nil || o.ID != w.b.Org {
			t.Errorf("got %s, %v", o.ID, err)
		}
	},
	"DB.Head": func(t *testing.T, w *world, _ owned) {
		t.Helper()
		head, err := w.db.Head(t.Context(), w.a.Scope)
		if n := rows(t, w.db, w.a.Scope, "change"); head != n || err != nil {
			t.Errorf("the head is %d of %d changes, %v", head, n, err)
		}
	},
	"DB.NoteUse": func(t *testing.T, w *world, own owned) {
		t.Helper()
		if err := w.db.NoteUse(t.Context(), w.b.Org, own.key.Key.ID, testNow, time.Minute); err != nil {
			t.Error(err)
		}
	},
	"DB.SweepAnswers": func(t *testing.T, w *world, _ owned) {
		t.Helper()
		n, err := w.db.SweepAnswers(t.Context(), w.b.Org, testNow.Add(time.Hour), 100)
		if n != 0 || err != nil {
			t.Errorf("swept %d answers, error %v", n, err)
		}
	},
}

func readOf[T any](m func(*DB, context.Context, tx.Scope, uuid.UUID) (T, error)) func(*DB) func(context.Context, tx.Scope, uuid.UUID) (T, error) {
	return func(db *DB) func(context.Context, tx.Scope, uuid.UUID) (T, error) {
		return func(ctx context.Context, s tx.Scope, id uuid.UUID) (T, error) { return m(db, ctx, s, id) }
	}
}

func ownOrganisation(ctx context.Context, t *testing.T, x *Tx, load func(*Tx, context.Context) (fleet.Organisation, error)) error {
	t.Helper()
	o, err := load(x, ctx)
	if o.ID != x.org {
		t.Errorf("loaded %s", o.ID)
	}
	return err
}

// unbound are the methods that belong to no organisation: the pool itself, the
// directory, and the look-up of a key, which is where the organisation comes from.
var unbound = map[string]bool{
	"DB.Close": true, "DB.Ready": true, "DB.UseQueue": true, "DB.WatchKeys": true, "DB.KeyHolder": true,
	"DB.Organisations": true, "DB.OrganisationsAfter": true, "DB.EnsureReadingMonth": true,
	"Tx.Parameters": true, "DB.ListParameters": true, // a reference table, the same for all
}

// snapshot is everything that organisation A has.
func snapshot(t *testing.T, w *world) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for _, table := range append(tenantTables(t, ownerConn(t, w)), "key_hash") {
		var texts []string
		err := w.db.read(t.Context(), w.a.Scope, query{
			`SELECT ` + table + `::text AS line FROM ` + table + ` WHERE org_id = $1 ORDER BY 1`, []any{w.a.Org},
			into(&texts, func(r struct{ Line string }) string { return r.Line }),
		})
		if err != nil {
			t.Fatal(err)
		}
		out[table] = texts
	}
	return out
}

// Every method of the store is tried from a second organisation, and leaves the
// first as it was, to the letter.
func TestOutsiders(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	own := ownThings(t, w)
	if _, _, err := (keyed{key: "kept", id: newID()}).run(t.Context(), w.db, w.a.Scope); err != nil {
		t.Fatal(err)
	}
	before := snapshot(t, w)
	for table, lines := range before {
		if len(lines) == 0 && !strings.Contains("round visit visit_item", table) {
			t.Errorf("organisation A has nothing in %s: that it stays as it is proves little", table)
		}
	}
	for name, try := range fromOutside {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			try(t, w, own)
			if diff := cmp.Diff(before, snapshot(t, w)); diff != "" {
				t.Errorf("organisation A changed (-before +after):\n%s", diff)
			}
		})
	}
}

// A new method has to be tried too.
func TestEveryMethodIsTriedFromOutside(t *testing.T) {
	t.Parallel()
	for prefix, typ := range map[string]reflect.Type{"Tx.": reflect.TypeFor[*Tx](), "DB.": reflect.TypeFor[*DB]()} {
		for m := range typ.Methods() {
			name := prefix + m.Name
			lists := 0
			for _, in := range []bool{fromOutside[name] != nil, unbound[name]} {
				if in {
					lists++
				}
			}
			if lists != 1 {
				t.Errorf("%s stands in %d lists: it needs an attempt from a second organisation in fromOutside, "+
					"or, if it belongs to no organisation, a place in unbound", name, lists)
			}
		}
	}
}
