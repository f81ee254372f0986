package api_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"
	"github.com/google/uuid"

	"tankward/api"
	"tankward/openapi"
	"tankward/repo"
	"tankward/repo/pgtest"
	"tankward/service/access"
	"tankward/service/fleet"
	"tankward/service/stock"
	"tankward/service/tx"
	"tankward/service/visits"
	"tankward/service/work"
)

func TestMain(m *testing.M) { pgtest.Main(m, repo.Migrate) }

func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// testNow is where a rig's clock starts: a Monday morning.
var testNow = time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)

// rig is the whole service on a database of its own, with a clock that stands
// still until it is moved.
type rig struct {
	t       *testing.T
	handler http.Handler
	db      *repo.DB
	work    *work.Service
	access  *access.Service
	now     *atomic.Int64
	router  routers.Router
	// owner, coordinator, technician, viewer and integration are keys of one
	// organisation; stranger is the owner's key of another.
	keys map[tx.Role]string
	ids  map[tx.Role]uuid.UUID
	// stranger is the owner's key of another organisation.
	stranger string
	scope    tx.Scope // the owner's
}

func newRig(t *testing.T) *rig {
	t.Helper()
	now := &atomic.Int64{}
	now.Store(testNow.UnixMicro())
	clock := func() time.Time { return time.UnixMicro(now.Load()).UTC() }
	db, err := repo.Open(t.Context(), pgtest.Database(t), repo.Options{Clock: clock, NewID: newID, VerifyTrail: true, MaxConns: 8})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(db.Close)
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	r := &rig{t: t, db: db, now: now, keys: map[tx.Role]string{}, ids: map[tx.Role]uuid.UUID{}}
	r.access = access.New(access.Config{
		Run: repo.NewRunner(db, func(t *repo.Tx) access.Tx { return t }), Reads: db, Random: rand.Reader, Clock: clock, Log: log,
	})
	r.work = work.New(repo.NewRunner(db, func(t *repo.Tx) work.Tx { return t }), db, newID)
	r.handler, err = api.New(api.Config{
		Reads: db, Access: r.access, Fleet: fleet.New(repo.NewRunner(db, func(t *repo.Tx) fleet.Tx { return t })), FleetReads: db,
		Stock: stock.New(repo.NewRunner(db, func(t *repo.Tx) stock.Tx { return t }), db, newID), StockReads: db,
		Work: r.work, WorkReads: db,
		Visits: visits.New(repo.NewRunner(db, func(t *repo.Tx) visits.Tx { return t }), db, r.work, newID),
		Now:    clock, NewID: newID, Log: log,
	})
	if err != nil {
		t.Fatal(err)
	}
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		t.Fatal(err)
	}
	doc.Servers = nil
	if r.router, err = gorillamux.NewRouter(doc); err != nil {
		t.Fatal(err)
	}
	r.found(t.Context())
	return r
}

// found makes two organisations, and in the first a member of each role.
func (r *rig) found(ctx context.Context) {
	r.t.Helper()
	r.scope, r.keys[tx.Owner] = r.organisation(ctx, "Tidepool Care")
	r.ids[tx.Owner] = r.scope.Actor
	_, r.stranger = r.organisation(ctx, "Harbour Club")
	for _, role := range []tx.Role{tx.Coordinator, tx.TechnicianR, tx.Viewer, tx.Integration} {
		member := r.do(tx.Owner, "POST", "/v1/members", map[string]any{
			"name": "Member " + string(role), "role": role, "time_zone": "UTC",
		}).want(201)
		id := member.text("id")
		r.ids[role] = uuid.MustParse(id)
		r.keys[role] = r.do(tx.Owner, "POST", "/v1/access-keys", map[string]any{"member_id": id, "label": "test"}).want(201).text("secret")
	}
}

func (r *rig) organisation(ctx context.Context, name string) (tx.Scope, string) {
	r.t.Helper()
	f := access.Founding{
		Org: newID(), OwnerID: newID(), KeyID: newID(), KeyLabel: "first",
		Organisation: fleet.OrganisationFields{Name: name, Kind: "business", TimeZone: "UTC"},
		Owner:        access.MemberFields{Name: "Owner of " + name, TimeZone: "UTC"},
	}
	out, err := r.access.NewOrganisation(ctx, tx.Call[access.Founded]{Now: testNow}, f)
	if err != nil {
		r.t.Fatal(err)
	}
	return tx.Scope{Org: f.Org, Actor: f.OwnerID, Role: tx.Owner}, out.Result.Key.Secret
}

// at moves the clock to a day and time.
func (r *rig) at(instant string) {
	r.t.Helper()
	t, err := time.Parse("2006-01-02 15:04", instant)
	if err != nil {
		r.t.Fatal(err)
	}
	r.now.Store(t.UnixMicro())
}

// answer is what came back; it follows the contract.
type answer struct {
	t      *testing.T
	what   string
	code   int
	header http.Header
	raw    []byte
	body   map[string]any
}

// header adds a header to a request.
func header(name, value string) func(*http.Request) {
	return func(r *http.Request) { r.Header.Set(name, value) }
}

// do sends a request as a role and checks the answer against the contract.
func (r *rig) do(as tx.Role, method, target string, body any, change ...func(*http.Request)) answer {
	r.t.Helper()
	return r.send(r.keys[as], method, target, body, change...)
}

func (r *rig) send(key, method, target string, body any, change ...func(*http.Request)) answer {
	r.t.Helper()
	var reader io.Reader = http.NoBody
	if body != nil {
		raw, ok := body.(string)
		if !ok {
			b, err := json.Marshal(body)
			if err != nil {
				r.t.Fatal(err)
			}
			raw = string(b)
		}
		reader = strings.NewReader(raw)
	}
	req := httptest.NewRequestWithContext(r.t.Context(), method, target, reader)
	if key != "" {
		req.Header.Set("Authorization", "Bearer "+key)
	}
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
		if method == http.MethodPatch {
			req.Header.Set("Content-Type", "application/merge-patch+json")
		}
	}
	for _, c := range change {
		c(req)
	}
	rec := httptest.NewRecorder()
	r.handler.ServeHTTP(rec, req)
	a := answer{t: r.t, what: method + " " + target, code: rec.Code, header: rec.Header(), raw: rec.Body.Bytes()}
	if strings.Contains(rec.Header().Get("Content-Type"), "json") && len(a.raw) > 0 && a.raw[0] == '{' {
		if err := json.Unmarshal(a.raw, &a.body); err != nil {
			r.t.Fatalf("%s: %v in %s", a.what, err, a.raw)
		}
	}
	r.follows(req, a)
	return a
}

// follows fails the test when an answer breaks the contract.
func (r *rig) follows(req *http.Request, a answer) {
	r.t.Helper()
	route, params, err := r.router.FindRoute(req)
	if err != nil {
		return // no operation: the problem is checked by its own test
	}
	in := &openapi3filter.RequestValidationInput{Request: req, PathParams: params, Route: route}
	err = openapi3filter.ValidateResponse(req.Context(), &openapi3filter.ResponseValidationInput{
		RequestValidationInput: in, Status: a.code, Header: a.header, Body: io.NopCloser(bytes.NewReader(a.raw)),
		Options: &openapi3filter.Options{IncludeResponseStatus: true, MultiError: true},
	})
	if err != nil {
		r.t.Errorf("%s: the answer %d breaks the contract: %v\n%s", a.what, a.code, err, a.raw)
	}
}

// want fails the test unless the answer has the status.
func (a answer) want(code int) answer {
	a.t.Helper()
	if a.code != code {
		a.t.Fatalf("%s: got %d, want %d: %s", a.what, a.code, code, a.raw)
	}
	return a
}

// text gives a field of the body as text.
func (a answer) text(field string) string {
	a.t.Helper()
	s, ok := a.body[field].(string)
	if !ok {
		a.t.Fatalf("%s: no text %q in %s", a.what, field, a.raw)
	}
	return s
}

// items gives the items of a list.
func (a answer) items() []map[string]any {
	a.t.Helper()
	list, ok := a.body["items"].([]any)
	if !ok {
		a.t.Fatalf("%s: no items in %s", a.what, a.raw)
	}
	out := make([]map[string]any, len(list))
	for i, it := range list {
		out[i] = it.(map[string]any)
	}
	return out
}

// names says whether a problem names a field.
func (a answer) names(pointer string) answer {
	a.t.Helper()
	list, _ := a.body["errors"].([]any)
	for _, e := range list {
		if e.(map[string]any)["pointer"] == pointer {
			return a
		}
	}
	a.t.Errorf("%s: the problem doesn't name %s: %s", a.what, pointer, a.raw)
	return a
}

// site, tank and routine add what most tests need.
func (r *rig) site(change ...func(map[string]any)) string {
	r.t.Helper()
	body := map[string]any{
		"name": "Lighthouse Dental", "time_zone": "UTC", "water_mode": "hauled",
		"position": map[string]any{"type": "Point", "coordinates": []float64{-9.14, 38.72}},
	}
	return r.added("/v1/sites", body, change)
}

func (r *rig) tank(site string, change ...func(map[string]any)) string {
	r.t.Helper()
	body := map[string]any{
		"site_id": site, "name": "Lobby reef", "kind": "soft_mixed", "status": "established",
		"shape":   map[string]any{"form": "stated", "stated_l": 300},
		"targets": []map[string]any{{"parameter": "salinity", "low": 34.5, "high": 35.5}},
	}
	return r.added("/v1/tanks", body, change)
}

func (r *rig) routine(tank string, change ...func(map[string]any)) string {
	r.t.Helper()
	body := map[string]any{
		"tank_id": tank, "name": "Water change", "work_kind": "water_change", "consequence_class": "water_quality",
		"active_minutes": 30, "performed_by": "technician", "first_day": "2026-03-02", "days_early": 2, "days_late": 3,
		"cadence": map[string]any{"kind": "interval", "every": 7, "unit": "day"},
	}
	return r.added("/v1/routines", body, change)
}

func (r *rig) added(path string, body map[string]any, change []func(map[string]any)) string {
	r.t.Helper()
	for _, c := range change {
		c(body)
	}
	return r.do(tx.Owner, "POST", path, body).want(201).text("id")
}

// with sets a field of a body.
func with(field string, v any) func(map[string]any) { return func(m map[string]any) { m[field] = v } }
