package repo

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

func memberCall(s tx.Scope) tx.Call[access.Member] {
	return tx.Call[access.Member]{Scope: s, Now: testNow}
}

func keyCall(s tx.Scope) tx.Call[access.NewKey] {
	return tx.Call[access.NewKey]{Scope: s, Now: testNow}
}

func withRole(r tx.Role) func(access.MemberFields) (access.MemberFields, error) {
	return func(f access.MemberFields) (access.MemberFields, error) {
		f.Role = r
		return f, nil
	}
}

func TestMemberLife(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	svc := accessOn(w.db)
	id := newID()
	fields := access.MemberFields{Name: "Tove", Role: tx.TechnicianR, TimeZone: "Europe/Lisbon", Skills: []string{}}
	create := func(f access.MemberFields) (resource.Created[access.MemberFields], error) {
		out, err := svc.CreateMember(t.Context(), tx.Call[resource.Created[access.MemberFields]]{Scope: w.a.Scope, Now: testNow}, id, f)
		return out.Result, err
	}
	made, err := create(fields)
	if err != nil || !made.New {
		t.Fatalf("created: %v, %v", made.New, err)
	}
	fields.Skills = nil // another way to say none
	again, err := create(fields)
	if err != nil || again.New {
		t.Fatalf("the same again: new %v, %v", again.New, err)
	}
	if diff := cmp.Diff(made.Row, again.Row); diff != "" {
		t.Errorf("the same again (-first +again):\n%s", diff)
	}
	fields.Name = "Other"
	_, err = create(fields)
	wantFault(t, err, fault.Conflict)

	same, err := svc.PatchMember(t.Context(), memberCall(w.a.Scope), id, 1, withRole(tx.TechnicianR))
	if err != nil || same.Result.Version != 1 {
		t.Errorf("a patch that changes nothing: version %d, %v", same.Result.Version, err)
	}
	out, err := svc.PatchMember(t.Context(), memberCall(w.a.Scope), id, 1, withRole(tx.Viewer))
	if err != nil || out.Result.Version != 2 || out.Result.Fields.Role != tx.Viewer {
		t.Errorf("patched: %+v, %v", out.Result, err)
	}
	_, err = svc.PatchMember(t.Context(), memberCall(w.a.Scope), id, 1, withRole(tx.TechnicianR))
	wantFault(t, err, fault.Precondition)
	_, err = svc.PatchMember(t.Context(), memberCall(w.a.Scope), id, 2, withRole("captain"))
	wantFault(t, err, fault.Invalid)
	_, err = svc.PatchMember(t.Context(), memberCall(w.b.Scope), id, 2, withRole(tx.TechnicianR))
	wantFault(t, err, fault.NotFound)

	if _, err := svc.ArchiveMember(t.Context(), memberCall(w.a.Scope), id, 2); err != nil {
		t.Fatal(err)
	}
	_, err = svc.PatchMember(t.Context(), memberCall(w.a.Scope), id, 0, withRole(tx.TechnicianR))
	wantFault(t, err, fault.Conflict)
	for archived, want := range map[bool]int{false: 1, true: 1} {
		page, err := svc.ListMembers(t.Context(), w.a.Scope, access.MemberFilter{}, resource.Paging{Limit: 10, Archived: archived})
		if err != nil || len(page.Items) != want {
			t.Errorf("archived %v: %d members, %v", archived, len(page.Items), err)
		}
	}
}

func TestMembersByRoleAndPage(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	svc := accessOn(w.db)
	var want, got []uuid.UUID
	for i := range 5 {
		m := addMember(t, w, w.a.Scope, func(f *access.MemberFields) { f.Name = fmt.Sprint("Tove ", i) })
		want = append(want, m.ID)
	}
	p := resource.Paging{Limit: 2}
	for pages := 1; ; pages++ {
		page, err := svc.ListMembers(t.Context(), w.a.Scope, access.MemberFilter{Role: tx.TechnicianR}, p)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range page.Items {
			got = append(got, m.ID)
		}
		if page.Next == "" {
			if pages != 3 {
				t.Errorf("%d pages of two for five members", pages)
			}
			break
		}
		p.After = page.Next
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("members (-want +got):\n%s", diff)
	}
}

func TestLastOwnerStays(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	svc := accessOn(w.db)
	_, err := svc.ArchiveMember(t.Context(), memberCall(w.a.Scope), w.a.Actor, 0)
	wantFault(t, err, fault.Conflict)
	_, err = svc.PatchMember(t.Context(), memberCall(w.a.Scope), w.a.Actor, 0, withRole(tx.Coordinator))
	wantFault(t, err, fault.Conflict)

	second := addMember(t, w, w.a.Scope, func(f *access.MemberFields) { f.Role = tx.Owner })
	if _, err := svc.PatchMember(t.Context(), memberCall(w.a.Scope), w.a.Actor, 0, withRole(tx.Coordinator)); err != nil {
		t.Errorf("one of two owners steps down: %v", err)
	}
	_, err = svc.ArchiveMember(t.Context(), memberCall(w.a.Scope), second.ID, 0)
	wantFault(t, err, fault.Conflict)
}

// Two owners who leave at once: one of them stays.
func TestOwnersCannotAllLeaveAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	svc := accessOn(w.db)
	owners := []uuid.UUID{w.a.Actor}
	for range 5 {
		owners = append(owners, addMember(t, w, w.a.Scope, func(f *access.MemberFields) { f.Role = tx.Owner }).ID)
	}
	errs := make(chan error, len(owners))
	for i, id := range owners {
		go func() {
			var err error
			if i%2 == 0 {
				_, err = svc.ArchiveMember(t.Context(), memberCall(w.a.Scope), id, 0)
			} else {
				_, err = svc.PatchMember(t.Context(), memberCall(w.a.Scope), id, 0, withRole(tx.Viewer))
			}
			errs <- err
		}()
	}
	stayed := 0
	for range owners {
		if err := <-errs; fault.Is(err, fault.Conflict) {
			stayed++
		} else if err != nil {
			t.Error(err)
		}
	}
	if stayed != 1 {
		t.Errorf("%d owners were kept, want 1", stayed)
	}
	if n := rows(t, w.db, w.a.Scope, "(SELECT org_id FROM member WHERE role = 'owner' AND archived_at IS NULL) AS owners"); n != 1 {
		t.Errorf("%d owners are left", n)
	}
}

func TestArchivedMemberLosesAllKeys(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	svc := accessOn(w.db)
	m := addMember(t, w, w.a.Scope)
	live := map[uuid.UUID]bool{addKey(t, w, w.a.Scope, m.ID).Key.ID: true, addKey(t, w, w.a.Scope, m.ID).Key.ID: true}
	gone := addKey(t, w, w.a.Scope, m.ID).Key.ID
	if _, err := svc.RevokeKey(t.Context(), tx.Call[access.AccessKey]{Scope: w.a.Scope, Now: testNow}, gone, 1); err != nil {
		t.Fatal(err)
	}
	start, err := w.db.Head(t.Context(), w.a.Scope)
	if err != nil {
		t.Fatal(err)
	}
	later := testNow.Add(time.Minute)
	if _, err := svc.ArchiveMember(t.Context(), tx.Call[access.Member]{Scope: w.a.Scope, Now: later}, m.ID, 0); err != nil {
		t.Fatal(err)
	}
	_, all, err := changes(t.Context(), w.db, w.a.Scope)
	if err != nil {
		t.Fatal(err)
	}
	said := map[uuid.UUID]bool{}
	for _, c := range all[start:] {
		if c.Resource == "access_key" && c.Action == "archived" {
			said[c.ID] = true
		}
	}
	if diff := cmp.Diff(live, said); diff != "" {
		t.Errorf("keys in the change log (-want +got):\n%s", diff)
	}
	page, err := svc.ListKeys(t.Context(), w.a.Scope, m.ID, resource.Paging{Limit: 10, Archived: true})
	if err != nil || len(page.Items) != 3 {
		t.Fatalf("%d revoked keys, %v", len(page.Items), err)
	}
	for _, k := range page.Items {
		want := later
		if k.ID == gone {
			want = testNow
		}
		if !k.ArchivedAt.Equal(want) || k.Version != 2 {
			t.Errorf("key %s was revoked at %s in version %d", k.ID, k.ArchivedAt, k.Version)
		}
	}
}

// The secret is shown once. It is neither in the answer kept for a repeat nor
// anywhere else in the database.
func TestSecretIsShownOnceAndKeptNowhere(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	svc := accessOn(w.db)
	id := newID()
	call := keyCall(w.a.Scope)
	call.Key = "make a key"
	call.Encode = func(k access.NewKey) (tx.Answer, error) {
		return tx.Answer{Status: 201, Body: fmt.Appendf(nil, `{"id":%q,"secret":%q}`, k.Key.ID, k.Secret)}, nil
	}
	fields := access.KeyFields{MemberID: w.a.Actor, Label: "phone"}
	first, err := svc.CreateKey(t.Context(), call, id, fields)
	if err != nil {
		t.Fatal(err)
	}
	secret := first.Result.Secret
	if !strings.HasPrefix(secret, "tw_") || first.Result.Key.Fields.Prefix != secret[:8] || !first.Result.New {
		t.Errorf("made %+v", first.Result)
	}
	if body := string(first.Answer.Body); strings.Contains(body, "tw_") {
		t.Errorf("the kept answer is %s", body)
	}
	repeat, err := svc.CreateKey(t.Context(), call, id, fields)
	if err != nil || !repeat.Repeated || repeat.Result.Secret != "" || string(repeat.Answer.Body) != string(first.Answer.Body) {
		t.Errorf("repeat: %+v, %v", repeat, err)
	}
	// The same request under no key finds the same key, and no secret either.
	again, err := svc.CreateKey(t.Context(), keyCall(w.a.Scope), id, fields)
	if err != nil || again.Result.New || again.Result.Secret != "" || again.Result.Key.Fields.Prefix != secret[:8] {
		t.Errorf("again: %+v, %v", again.Result, err)
	}
	if _, err := svc.Authenticate(t.Context(), secret); err != nil {
		t.Errorf("after the repeats the key is not valid: %v", err)
	}
	for table, lines := range snapshot(t, w) {
		for _, line := range lines {
			if strings.Contains(line, secret) || strings.Contains(line, fmt.Sprintf("%x", secret)) {
				t.Errorf("%s holds the secret: %s", table, line)
			}
		}
	}
}

func TestKeyIsRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	svc := accessOn(w.db)
	archived := addMember(t, w, w.a.Scope)
	if _, err := svc.ArchiveMember(t.Context(), memberCall(w.a.Scope), archived.ID, 0); err != nil {
		t.Fatal(err)
	}
	past := testNow
	coordinator := w.a.Scope
	coordinator.Role, coordinator.Actor = tx.Coordinator, newID()
	for name, c := range map[string]struct {
		scope   tx.Scope
		fields  access.KeyFields
		class   fault.Class
		pointer string
	}{
		"no label":         {w.a.Scope, access.KeyFields{MemberID: w.a.Actor}, fault.Invalid, "/label"},
		"no member":        {w.a.Scope, access.KeyFields{MemberID: newID(), Label: "a"}, fault.Invalid, "/member_id"},
		"archived member":  {w.a.Scope, access.KeyFields{MemberID: archived.ID, Label: "a"}, fault.Invalid, "/member_id"},
		"another's member": {w.a.Scope, access.KeyFields{MemberID: w.b.Actor, Label: "a"}, fault.Invalid, "/member_id"},
		"expired":          {w.a.Scope, access.KeyFields{MemberID: w.a.Actor, Label: "a", ExpiresAt: &past}, fault.Invalid, "/expires_at"},
		"an owner's":       {coordinator, access.KeyFields{MemberID: w.a.Actor, Label: "a"}, fault.Forbidden, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := svc.CreateKey(t.Context(), keyCall(c.scope), newID(), c.fields)
			wantFault(t, err, c.class)
			if fields := fault.As(err).Fields; c.pointer != "" && (len(fields) != 1 || fields[0].Pointer != c.pointer) {
				t.Errorf("fields %v, want %s", fields, c.pointer)
			}
		})
	}
}

func TestRevoking(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	svc := accessOn(w.db)
	k := addKey(t, w, w.a.Scope, addMember(t, w, w.a.Scope).ID).Key
	revoke := func(s tx.Scope, id uuid.UUID, match resource.IfMatch) (access.AccessKey, error) {
		out, err := svc.RevokeKey(t.Context(), tx.Call[access.AccessKey]{Scope: s, Now: testNow}, id, match)
		return out.Result, err
	}
	_, err := revoke(w.b.Scope, k.ID, 0)
	wantFault(t, err, fault.NotFound)
	_, err = revoke(w.a.Scope, k.ID, 7)
	wantFault(t, err, fault.Precondition)
	coordinator := w.a.Scope
	coordinator.Role, coordinator.Actor = tx.Coordinator, newID()
	_, err = revoke(coordinator, w.a.first.Key.ID, 0)
	wantFault(t, err, fault.Forbidden)
	first, err := revoke(coordinator, k.ID, 1)
	if err != nil || first.ArchivedAt == nil || first.Version != 2 {
		t.Fatalf("revoked: %+v, %v", first, err)
	}
	again, err := revoke(coordinator, k.ID, 0)
	if diff := cmp.Diff(first, again); diff != "" || err != nil {
		t.Errorf("again: %v (-first +again):\n%s", err, diff)
	}
}

// Whoever makes a key holds the member's lock, so that a member who is being
// archived gets no key that nobody revokes.
func TestNoKeyForAMemberWhoIsLeaving(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	svc := accessOn(w.db)
	m := addMember(t, w, w.a.Scope)
	made := make(chan error, 1)
	must(t, w.db, w.a.Scope, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		old, err := x.Members().Load(ctx, m.ID)
		if err != nil {
			return tx.Trail{}, err
		}
		go func() {
			_, err := svc.CreateKey(t.Context(), keyCall(w.a.Scope), newID(), access.KeyFields{MemberID: m.ID, Label: "late"})
			made <- err
		}()
		waiting(t, w)
		old.ArchivedAt, old.Version = &testNow, 2
		return tx.Did(tx.Change{Resource: "member", Action: "archived", ID: m.ID}), x.Members().Save(ctx, old)
	})
	wantFault(t, <-made, fault.Invalid)
}

func TestNewOrganisation(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	svc := accessOn(w.db)
	f := access.Founding{
		Org: newID(), OwnerID: newID(), KeyID: newID(), KeyLabel: "first",
		Organisation: fleet.OrganisationFields{Name: "Reef Club", Kind: "club", TimeZone: "Europe/Lisbon"},
		Owner:        access.MemberFields{Name: "Ines", Role: tx.Viewer, TimeZone: "Europe/Lisbon"},
	}
	call := tx.Call[access.Founded]{Now: testNow, Scope: w.a.Scope} // of another: of no account
	bad := f
	bad.Organisation.TimeZone = "Atlantis"
	_, err := svc.NewOrganisation(t.Context(), call, bad)
	wantFault(t, err, fault.Invalid)
	out, err := svc.NewOrganisation(t.Context(), call, f)
	if err != nil {
		t.Fatal(err)
	}
	c, err := svc.Authenticate(t.Context(), out.Result.Key.Secret)
	if err != nil || c.Scope.Org != f.Org || c.Scope.Role != tx.Owner || c.Scope.Actor != f.OwnerID {
		t.Errorf("the first key is of %+v, %v", c, err)
	}
	s := tx.Scope{Org: f.Org}
	_, all, err := changes(t.Context(), w.db, s)
	var said []string
	for _, c := range all {
		said = append(said, c.Resource+"."+c.Action)
	}
	want := []string{"organisation.created", "member.created", "access_key.created"}
	if diff := cmp.Diff(want, said); diff != "" || err != nil {
		t.Errorf("%v, changes (-want +got):\n%s", err, diff)
	}
	before := snapshot(t, w)
	f.OwnerID, f.KeyID, f.Org = newID(), newID(), w.a.Org
	_, err = svc.NewOrganisation(t.Context(), call, f)
	wantFault(t, err, fault.Conflict)
	if diff := cmp.Diff(before, snapshot(t, w)); diff != "" {
		t.Errorf("a taken id left something (-before +after):\n%s", diff)
	}
}

func TestNoSecretNoKey(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	svc := accessOn(w.db)
	broken := errors.New("broken")
	svc.Random = readerFunc(func([]byte) (int, error) { return 0, broken })
	before := snapshot(t, w)
	_, err := svc.CreateKey(t.Context(), keyCall(w.a.Scope), newID(), access.KeyFields{MemberID: w.a.Actor, Label: "a"})
	if !errors.Is(err, broken) {
		t.Errorf("got %v", err)
	}
	if diff := cmp.Diff(before, snapshot(t, w)); diff != "" {
		t.Errorf("left (-before +after):\n%s", diff)
	}
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }
