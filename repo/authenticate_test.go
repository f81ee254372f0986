package repo

import (
	"context"
	"crypto/rand"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/fault"
	"tankward/service/tx"
)

// watched is the store, counting what Authenticate asks of it.
type watched struct {
	*DB
	lookUps  int
	onTheWay func() // runs when the store has answered a look-up
	notes    []time.Time
}

func (d *watched) KeyHolder(ctx context.Context, hash [32]byte) (access.Holder, error) {
	d.lookUps++
	h, err := d.DB.KeyHolder(ctx, hash)
	if d.onTheWay != nil {
		d.onTheWay()
	}
	return h, err
}

func (d *watched) NoteUse(ctx context.Context, org, key uuid.UUID, at time.Time, atMost time.Duration) error {
	d.notes = append(d.notes, at)
	return d.DB.NoteUse(ctx, org, key, at, atMost)
}

// door is a service that says who calls, at a time of the test's choice.
type door struct {
	*access.Service
	*world
	store *watched
	now   time.Time
	key   access.NewKey // of a technician
}

func newDoor(t *testing.T) *door {
	t.Helper()
	w := newWorld(t)
	d := &door{world: w, now: testNow, store: &watched{DB: w.db}}
	d.Service = access.New(access.Config{
		Run:   NewRunner(w.db, func(t *Tx) access.Tx { return t }),
		Reads: d.store, Random: rand.Reader, Log: slog.New(slog.DiscardHandler),
		Clock: func() time.Time { return d.now },
	})
	d.key = addKey(t, w, w.a.Scope, addMember(t, w, w.a.Scope).ID)
	return d
}

func (d *door) opens(t *testing.T, secret string) access.Caller {
	t.Helper()
	c, err := d.Authenticate(t.Context(), secret)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func (d *door) staysShut(t *testing.T, secret, says string) {
	t.Helper()
	_, err := d.Authenticate(t.Context(), secret)
	wantFault(t, err, fault.Unauthenticated)
	if !strings.Contains(err.Error(), says) {
		t.Errorf("got %q, want a sentence with %q", err, says)
	}
}

// revokeElsewhere revokes the key through a service that this one hears nothing of.
func (d *door) revokeElsewhere(t *testing.T) {
	t.Helper()
	call := tx.Call[access.AccessKey]{Scope: d.a.Scope, Now: testNow}
	if _, err := accessOn(d.db).RevokeKey(t.Context(), call, d.key.Key.ID, 0); err != nil {
		t.Fatal(err)
	}
}

func TestCallerIsWhoeverHoldsTheKey(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	want := access.Caller{
		Scope: tx.Scope{Org: d.a.Org, Actor: d.key.Key.Fields.MemberID, Role: tx.TechnicianR},
		Key:   d.key.Key.ID, Name: "Tove", TimeZone: "Europe/Lisbon",
	}
	for range 2 { // looked up, then known
		if diff := cmp.Diff(want, d.opens(t, d.key.Secret)); diff != "" {
			t.Errorf("caller (-want +got):\n%s", diff)
		}
	}
	if d.store.lookUps != 1 {
		t.Errorf("%d look-ups for two calls in a moment", d.store.lookUps)
	}
}

func TestNoValidKey(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	for secret, says := range map[string]string{
		"":                                   "is needed",
		"letmein":                            "is not known",
		d.key.Secret[:45]:                    "is not known",
		"tw_" + strings.Repeat("0", 43):      "is not known",
		strings.ToUpper(d.key.Secret):        "is not known",
		d.key.Secret + "' OR hash IS NOT NU": "is not known",
	} {
		d.staysShut(t, secret, says)
	}
	if d.store.lookUps != 1 {
		t.Errorf("%d look-ups, want only that of the well-formed one", d.store.lookUps)
	}
	if len(d.store.notes) != 0 {
		t.Error("the use of no key was noted")
	}
}

func TestKeyIsKnownForFiveSeconds(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	d.opens(t, d.key.Secret)
	d.revokeElsewhere(t)
	d.now = testNow.Add(5*time.Second - time.Nanosecond)
	d.opens(t, d.key.Secret) // no longer than this, should the news be lost
	d.now = testNow.Add(5 * time.Second)
	d.staysShut(t, d.key.Secret, "was revoked")
}

func TestRevokedKeyIsRefusedAtOnce(t *testing.T) {
	t.Parallel()
	for name, end := range map[string]struct {
		do   func(*testing.T, *door) error
		says string
	}{
		"revoked": {func(t *testing.T, d *door) error {
			t.Helper()
			_, err := d.RevokeKey(t.Context(), tx.Call[access.AccessKey]{Scope: d.a.Scope, Now: testNow}, d.key.Key.ID, 0)
			return err
		}, "was revoked"},
		"archived": {func(t *testing.T, d *door) error {
			t.Helper()
			_, err := d.ArchiveMember(t.Context(), tx.Call[access.Member]{Scope: d.a.Scope, Now: testNow}, d.key.Key.Fields.MemberID, 0)
			return err
		}, "was revoked"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newDoor(t)
			d.opens(t, d.key.Secret)
			if err := end.do(t, d); err != nil {
				t.Fatal(err)
			}
			d.staysShut(t, d.key.Secret, end.says)
			d.opens(t, d.a.first.Secret) // others of the organisation are not shut out
		})
	}
}

// A changed role counts from the next call.
func TestNewRoleCountsAtOnce(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	d.opens(t, d.key.Secret)
	_, err := d.PatchMember(t.Context(), tx.Call[access.Member]{Scope: d.a.Scope, Now: testNow}, d.key.Key.Fields.MemberID, 0,
		func(f access.MemberFields) (access.MemberFields, error) {
			f.Role = tx.Viewer
			return f, nil
		})
	if err != nil {
		t.Fatal(err)
	}
	if c := d.opens(t, d.key.Secret); c.Scope.Role != tx.Viewer {
		t.Errorf("the caller still is a %s", c.Scope.Role)
	}
}

// A key revoked while it is being looked up is not kept as valid.
func TestNewsOvertakesALookUp(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	d.store.onTheWay = func() {
		d.revokeElsewhere(t)
		d.ForgetKeys(d.a.Org)
	}
	d.opens(t, d.key.Secret) // what was read before the news counts for this call
	d.store.onTheWay = nil
	d.staysShut(t, d.key.Secret, "was revoked")
}

func TestForgetting(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	for _, step := range []struct {
		forget  func()
		lookUps int
	}{
		{func() {}, 1},
		{func() { d.ForgetKeys(d.b.Org) }, 1},
		{func() { d.ForgetKeys(d.a.Org) }, 2},
		{d.ForgetAllKeys, 3},
	} {
		step.forget()
		d.opens(t, d.key.Secret)
		if d.store.lookUps != step.lookUps {
			t.Errorf("%d look-ups, want %d", d.store.lookUps, step.lookUps)
		}
	}
}

func TestKeyExpires(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	end := testNow.Add(time.Second)
	out, err := d.CreateKey(t.Context(), tx.Call[access.NewKey]{Scope: d.a.Scope, Now: testNow}, newID(),
		access.KeyFields{MemberID: d.a.Actor, Label: "short", ExpiresAt: &end})
	if err != nil {
		t.Fatal(err)
	}
	d.now = end.Add(-time.Nanosecond)
	d.opens(t, out.Result.Secret)
	d.now = end // though it is known still
	d.staysShut(t, out.Result.Secret, "has expired")
	d.ForgetAllKeys()
	d.staysShut(t, out.Result.Secret, "has expired")
}

func TestUseIsWrittenOnceAMinute(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	head, err := d.db.Head(t.Context(), d.a.Scope)
	if err != nil {
		t.Fatal(err)
	}
	for s := range 130 {
		d.now = testNow.Add(time.Duration(s) * time.Second)
		d.opens(t, d.key.Secret)
	}
	want := []time.Time{testNow, testNow.Add(time.Minute), testNow.Add(2 * time.Minute)}
	if diff := cmp.Diff(want, d.store.notes); diff != "" {
		t.Errorf("written (-want +got):\n%s", diff)
	}
	k, err := d.ReadKey(t.Context(), d.a.Scope, d.key.Key.ID)
	if err != nil {
		t.Fatal(err)
	}
	if got := k.Fields.LastUsedAt; got == nil || !got.Equal(want[2]) || k.Version != 1 {
		t.Errorf("last used %v in version %d", got, k.Version)
	}
	if after, err := d.db.Head(t.Context(), d.a.Scope); after != head || err != nil {
		t.Errorf("head %d, before %d, %v: the use of a key is no change", after, head, err)
	}
}

// Two replicas do not write the same minute twice.
func TestUseWrittenElsewhereCounts(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	key := d.key.Key.ID
	if err := d.db.NoteUse(t.Context(), d.a.Org, key, testNow.Add(-30*time.Second), time.Minute); err != nil {
		t.Fatal(err)
	}
	d.opens(t, d.key.Secret)
	if len(d.store.notes) != 0 {
		t.Error("written again after half a minute")
	}
	if err := d.db.NoteUse(t.Context(), d.a.Org, key, testNow, time.Minute); err != nil {
		t.Fatal(err)
	}
	k, err := d.ReadKey(t.Context(), d.a.Scope, key)
	if err != nil {
		t.Fatal(err)
	}
	if got := k.Fields.LastUsedAt; got == nil || !got.Equal(testNow.Add(-30*time.Second)) {
		t.Errorf("last used %v", got)
	}
}

// Nobody waits for a key that is being revoked in another transaction.
func TestUseOfALockedKeyIsPassedOver(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	must(t, d.db, d.a.Scope, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		if _, err := x.AccessKeys().Load(ctx, d.key.Key.ID); err != nil {
			return tx.Trail{}, err
		}
		return tx.Trail{}, d.db.NoteUse(t.Context(), d.a.Org, d.key.Key.ID, testNow, time.Minute)
	})
}

func TestTroubleIsNoRefusal(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := d.Authenticate(ctx, d.key.Secret); !errors.Is(err, context.Canceled) || fault.As(err) != nil {
		t.Errorf("got %v, want that it was cancelled, and no 401", err)
	}
	d.opens(t, d.key.Secret)
}

// A caller who goes away right after the look-up has used the key all the same,
// and a use that can't be written shuts nobody out.
func TestUseIsWrittenWhateverBecomesOfTheCaller(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	ctx, cancel := context.WithCancel(t.Context())
	d.store.onTheWay = cancel
	if _, err := d.Authenticate(ctx, d.key.Secret); err != nil {
		t.Fatal(err)
	}
	k, err := d.ReadKey(t.Context(), d.a.Scope, d.key.Key.ID)
	if err != nil || k.Fields.LastUsedAt == nil {
		t.Errorf("last used %v, %v", k.Fields.LastUsedAt, err)
	}
	exec(t, ownerConn(t, d.world), `REVOKE UPDATE ON access_key FROM tankward_app`)
	d.now = testNow.Add(time.Minute)
	d.opens(t, d.key.Secret)
}
