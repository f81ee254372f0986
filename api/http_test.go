package api_test

import (
	"encoding/base64"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"tankward/service/tx"
)

// HEAD is answered like GET, without the body, by every address that takes GET.
func TestHead(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	server := httptest.NewServer(r.handler)
	t.Cleanup(server.Close)
	type shown struct {
		code       int
		etag, kind string
		length     int64
	}
	ask := func(method, path string) shown {
		t.Helper()
		req, err := http.NewRequestWithContext(t.Context(), method, server.URL+path, http.NoBody)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Accept-Encoding", "identity")
		req.Header.Set("Authorization", "Bearer "+r.keys[tx.Viewer])
		res, err := server.Client().Do(req)
		if err != nil {
			t.Fatal(err)
		}
		if err := res.Body.Close(); err != nil {
			t.Fatal(err)
		}
		return shown{res.StatusCode, res.Header.Get("ETag"), res.Header.Get("Content-Type"), res.ContentLength}
	}
	for _, path := range []string{"/livez", "/openapi.yaml", "/v1/sites", "/v1/sites/" + r.site(), "/v1/due-work", "/v1/sites/" + newID().String(), "/v1/nothing"} {
		if get, head := ask("GET", path), ask("HEAD", path); get != head {
			t.Errorf("%s: HEAD %+v, GET %+v", path, head, get)
		}
	}
	if got := ask("HEAD", "/v1/work-records/"+newID().String()+"/void").code; got != http.StatusMethodNotAllowed {
		t.Errorf("HEAD where there is no GET: %d", got)
	}
}

// A body whose length is not announced is cut off at the same size.
func TestLongBodyOfUnknownLength(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	unknown := func(req *http.Request) {
		req.ContentLength = -1
		req.Body = io.NopCloser(strings.NewReader(`{"name": "` + strings.Repeat("x", 1<<20) + `"}`))
	}
	r.do(tx.Owner, "POST", "/v1/customers", "{}", unknown).want(413)
	r.do(tx.Owner, "POST", "/v1/customers", "{}", unknown, header("Idempotency-Key", "long")).want(413)
}

// A number that is no whole number as we read it is named like any other mistake.
func TestNumberInAnotherForm(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	body := `{"tank_id": "` + tank + `", "name": "x", "work_kind": "inspection", "consequence_class": "upkeep", "active_minutes": 5,
		"performed_by": "technician", "cadence": {"kind": "interval", "every": 7e0, "unit": "day"}}`
	a := r.do(tx.Owner, "POST", "/v1/routines", body).want(400).names("/cadence/every")
	if strings.Contains(string(a.raw), "Go") {
		t.Errorf("it speaks of our language: %s", a.raw)
	}
}

// Days of other ages are slips of the pen, and the zero UUID is nobody.
func TestDaysAndIDsThatNobodyMeans(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	tank := r.tank(site)
	for _, day := range []string{"0001-01-01", "1970-01-01", "2200-01-01", "9999-12-31"} {
		r.do(tx.Owner, "POST", "/v1/closures", map[string]any{"from": day, "to": day}).want(400).names("/from")
		r.do(tx.Owner, "POST", "/v1/work-records", map[string]any{
			"tank_id": tank, "work_kind": "feeding", "result": "done", "done_at": day + "T08:00:00Z",
		}).want(400).names("/done_at")
		r.do(tx.Owner, "GET", "/v1/due-work?on="+day, nil).want(400).names("on")
	}
	zero := "00000000-0000-0000-0000-000000000000"
	r.do(tx.Owner, "POST", "/v1/customers", map[string]any{"id": zero, "name": "x"}).want(400).names("/id")
	r.do(tx.Owner, "GET", "/v1/tanks?site_id="+zero, nil).want(400).names("site_id")
}

func TestCursorsOfNoPage(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	for path, raw := range map[string]string{
		"/v1/work-records":                "\x80\x00\x00\x00\x00\x00\x00\x000123456789abcdef",
		"/v1/tanks/" + tank + "/readings": "\x80\x00\x00\x00\x00\x00\x00\x000123456789abcdef",
		"/v1/due-work":                    `{"Kind":"\u0000","Class":1}`,
	} {
		r.do(tx.Owner, "GET", path+"?cursor="+base64.RawURLEncoding.EncodeToString([]byte(raw)), nil).want(400).names("cursor")
	}
}

func TestParametersUnchanged(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tag := r.do(tx.Viewer, "GET", "/v1/parameters", nil).want(200).header.Get("ETag")
	r.do(tx.Viewer, "GET", "/v1/parameters", nil, header("If-None-Match", tag)).want(304)
}

// An instant is stored to the microsecond, and shown as it is stored.
func TestInstantsAreShownAsStored(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	made := r.do(tx.Owner, "POST", "/v1/work-records", map[string]any{
		"tank_id": r.tank(r.site()), "work_kind": "water_test", "result": "done", "done_at": "2026-03-02T08:30:00.123456789+01:00",
		"readings": []map[string]any{{"parameter": "ph", "value": 8, "taken_at": "2026-03-02T08:30:00.123456789+01:00"}},
	}).want(201)
	got := r.do(tx.Owner, "GET", "/v1/work-records/"+made.text("id"), nil).want(200)
	if made.text("done_at") != got.text("done_at") || got.text("done_at") != "2026-03-02T07:30:00.123456Z" {
		t.Errorf("done at %s, then %s", made.text("done_at"), got.text("done_at"))
	}
	taken := func(a answer) any { return a.body["readings"].([]any)[0].(map[string]any)["taken_at"] }
	if taken(made) != taken(got) {
		t.Errorf("taken at %v, then %v", taken(made), taken(got))
	}
}

// Pages of due work in one state hold each piece once, however few rows fit.
func TestPagesOfOneState(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	want := map[string]bool{}
	for i := range 12 {
		day := "2026-02-02" // late by now
		if i%3 > 0 {
			day = "2026-03-02"
		}
		if id := r.routine(tank, with("first_day", day)); i%3 == 0 {
			want[id] = true
		}
	}
	got := map[string]bool{}
	for target := "/v1/due-work?state=overdue&limit=1"; target != ""; {
		a := r.do(tx.Viewer, "GET", target, nil).want(200)
		for _, it := range a.items() {
			id := it["routine_id"].(string)
			if got[id] || !want[id] {
				t.Errorf("%s once too often", id)
			}
			got[id] = true
		}
		target, _, _ = strings.Cut(strings.TrimPrefix(a.header.Get("Link"), "<"), ">")
	}
	if len(got) != len(want) {
		t.Errorf("%d of %d", len(got), len(want))
	}
}
