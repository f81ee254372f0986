package repo

import (
	"context"
	"crypto/rand"
	"log/slog"
	"testing"
	"time"

	"github.com/google/uuid"

	"tankward/repo/pgtest"
	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// testNow is the moment at which tests happen.
var testNow = time.Date(2026, time.March, 9, 8, 30, 0, 123456000, time.UTC)

func testOptions() Options {
	return Options{
		Clock: func() time.Time { return testNow }, NewID: newID, VerifyTrail: true,
	}
}

func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// openDB opens the database at url as the application does.
func openDB(t *testing.T, url string) *DB {
	t.Helper()
	db, err := Open(t.Context(), url, testOptions())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(db.Close)
	return db
}

// tenant is one organisation of a test with its first owner.
type tenant struct {
	tx.Scope
	owner access.Member
	first access.NewKey
}

// world is a database of its own with two organisations.
type world struct {
	url  string
	db   *DB
	a, b tenant
}

func newWorld(t *testing.T) *world {
	t.Helper()
	w := &world{url: pgtest.Database(t)}
	w.db = openDB(t, w.url)
	w.a, w.b = newTenant(t, w.db, "Alder"), newTenant(t, w.db, "Birch")
	return w
}

func accessOn(db *DB) *access.Service {
	return access.New(access.Config{
		Run:   NewRunner(db, func(t *Tx) access.Tx { return t }),
		Reads: db, Random: rand.Reader, Log: slog.New(slog.DiscardHandler),
		Clock: func() time.Time { return testNow },
	})
}

func newTenant(t *testing.T, db *DB, name string) tenant {
	t.Helper()
	out, err := accessOn(db).NewOrganisation(t.Context(), tx.Call[access.Founded]{Now: testNow}, access.Founding{
		Org: newID(), OwnerID: newID(), KeyID: newID(), KeyLabel: "first",
		Organisation: fleet.OrganisationFields{Name: name, Kind: "business", TimeZone: "Europe/Lisbon"},
		Owner:        access.MemberFields{Name: "Owner of " + name, TimeZone: "Europe/Lisbon"},
	})
	if err != nil {
		t.Fatal(err)
	}
	r := out.Result
	return tenant{
		Scope: tx.Scope{Org: r.Organisation.ID, Actor: r.Owner.ID, Role: tx.Owner, Request: "test"},
		owner: r.Owner, first: r.Key,
	}
}

// command runs f in a transaction of a scope, without an idempotency key.
func command(ctx context.Context, db *DB, s tx.Scope, f func(context.Context, *Tx) (tx.Trail, error)) error {
	_, _, err := NewRunner(db, func(t *Tx) *Tx { return t }).InTx(ctx, s, "", [32]byte{},
		func(ctx context.Context, t *Tx) (tx.Trail, tx.Answer, error) {
			trail, err := f(ctx, t)
			return trail, tx.Answer{}, err
		})
	return err
}

// must runs a command that has to succeed.
func must(t *testing.T, db *DB, s tx.Scope, f func(context.Context, *Tx) (tx.Trail, error)) {
	t.Helper()
	if err := command(t.Context(), db, s, f); err != nil {
		t.Fatal(err)
	}
}

// stored is a kind of resource: its name in the change log, and its store.
type stored[F any] struct {
	name string
	of   func(*Tx) resource.Store[F]
}

func kind[F any](name string, of func(*Tx) resource.Store[F]) stored[F] { return stored[F]{name, of} }

// added stores one row of a resource and gives it.
func added[F any](t *testing.T, db *DB, s tx.Scope, k stored[F], f F) resource.Row[F] {
	t.Helper()
	row := resource.Row[F]{Meta: resource.Meta{ID: newID(), Version: 1, CreatedAt: testNow, UpdatedAt: testNow}, Fields: f}
	hash, err := resource.Hash(f)
	if err != nil {
		t.Fatal(err)
	}
	must(t, db, s, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		if ok, err := k.of(x).Insert(ctx, row, hash); err != nil || !ok {
			t.Fatalf("insert %s: %v, %v", k.name, ok, err)
		}
		return tx.Did(tx.Change{Resource: k.name, Action: "created", ID: row.ID}), nil
	})
	return row
}

// Each factory takes what a test cares about; everything else is valid.

func addMember(t *testing.T, w *world, s tx.Scope, change ...func(*access.MemberFields)) access.Member {
	t.Helper()
	f := access.MemberFields{Name: "Tove", Role: tx.TechnicianR, TimeZone: "Europe/Lisbon"}
	apply(&f, change)
	return added(t, w.db, s, kind("member", (*Tx).Members), f)
}

func addCustomer(t *testing.T, w *world, s tx.Scope, change ...func(*fleet.CustomerFields)) fleet.Customer {
	t.Helper()
	f := fleet.CustomerFields{Name: "Quayside Dental Practice"}
	apply(&f, change)
	return added(t, w.db, s, kind("customer", (*Tx).Customers), f)
}

func addSite(t *testing.T, w *world, s tx.Scope, change ...func(*fleet.SiteFields)) fleet.Site {
	t.Helper()
	f := fleet.SiteFields{
		Name: "Waiting room", Position: fleet.Point{Lat: 38.7139, Lon: -9.1366}, TimeZone: "Europe/Lisbon",
		WaterMode: fleet.Hauled, SetupMinutes: 5, AccessEnteredOn: care.DayOf(testNow),
	}
	apply(&f, change)
	return added(t, w.db, s, kind("site", (*Tx).Sites), f)
}

func addClosure(t *testing.T, w *world, s tx.Scope, change ...func(*fleet.ClosureFields)) fleet.Closure {
	t.Helper()
	today := care.DayOf(testNow)
	f := fleet.ClosureFields{From: today + 7, To: today + 9, Reason: "Easter", EnteredOn: today}
	apply(&f, change)
	return added(t, w.db, s, kind("closure", (*Tx).Closures), f)
}

// addTank adds a tank, at a new site unless a change names one.
func addTank(t *testing.T, w *world, s tx.Scope, change ...func(*fleet.TankFields)) fleet.Tank {
	t.Helper()
	f := fleet.TankFields{
		Name: "Display", Kind: fleet.SoftMixed, Status: fleet.Established,
		Shape: fleet.Shape{Form: fleet.Box, LengthCM: 120, WidthCM: 50, HeightCM: 50},
	}
	apply(&f, change)
	if f.SiteID == uuid.Nil {
		f.SiteID = addSite(t, w, s).ID
	}
	f.NetL = f.Net()
	return added(t, w.db, s, kind("tank", (*Tx).Tanks), f)
}

// addEquipment adds a device, at a new tank unless a change names one.
func addEquipment(t *testing.T, w *world, s tx.Scope, change ...func(*fleet.EquipmentFields)) fleet.Equipment {
	t.Helper()
	f := fleet.EquipmentFields{Kind: "light", Label: "Lamp over the reef"}
	apply(&f, change)
	if f.TankID == uuid.Nil {
		f.TankID = addTank(t, w, s).ID
	}
	return added(t, w.db, s, kind("equipment", (*Tx).Equipment), f)
}

// addKey makes an access key of a member through the use case.
func addKey(t *testing.T, w *world, s tx.Scope, member uuid.UUID) access.NewKey {
	t.Helper()
	out, err := accessOn(w.db).CreateKey(t.Context(), tx.Call[access.NewKey]{Scope: s, Now: testNow}, newID(),
		access.KeyFields{MemberID: member, Label: "phone"})
	if err != nil {
		t.Fatal(err)
	}
	return out.Result
}

func apply[F any](f *F, change []func(*F)) {
	for _, c := range change {
		c(f)
	}
}

// wantFault fails the test unless err is a fault of the class.
func wantFault(t *testing.T, err error, class fault.Class) {
	t.Helper()
	if !fault.Is(err, class) {
		t.Fatalf("got error %v, want a fault of class %d", err, class)
	}
}
