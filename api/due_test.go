package api_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"tankward/service/tx"
)

// A technician's week at one tank: what is due, done early, late, partly, not
// at all; every answer is checked against the contract by the rig.
func TestTechniciansWeek(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	routine := r.routine(tank)

	got := r.dueOf(tank)
	want := []dueLine{{routine, "2026-03-02", "2026-03-02", "2026-03-02", "2026-03-05", "due"}}
	if diff := cmp.Diff(want, got, lines); diff != "" {
		t.Fatalf("due work (-want +got):\n%s", diff)
	}

	rec := r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{
		"routine_id": routine, "result": "done", "nominal_due": "2026-03-02", "ordinal": 0,
		"readings": []map[string]any{{"parameter": "salinity", "value": 35.1}},
	}).want(201)
	if rec.body["extra"] != false || rec.body["done_on"] != "2026-03-02" {
		t.Fatalf("record: %s", rec.raw)
	}
	next := rec.body["next"].(map[string]any)
	if next["due"] != "2026-03-09" || next["earliest"] != "2026-03-07" {
		t.Fatalf("next: %v", next)
	}
	if got := r.dueOf(tank); len(got) != 0 {
		t.Fatalf("after it was done: %v", got)
	}

	r.at("2026-03-13 09:00")
	want = []dueLine{{routine, "2026-03-09", "2026-03-07", "2026-03-09", "2026-03-12", "overdue"}}
	if diff := cmp.Diff(want, r.dueOf(tank), lines); diff != "" {
		t.Fatalf("late (-want +got):\n%s", diff)
	}
	r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": routine, "result": "partly", "share_percent": 60}).want(201)
	second := r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": routine, "result": "partly", "share_percent": 40}).want(201)
	if got := r.dueOf(tank); len(got) != 0 {
		t.Fatalf("after both parts: %v", got)
	}
	r.do(tx.TechnicianR, "POST", "/v1/work-records/"+second.text("id")+"/void", map[string]any{"reason": "wrong tank"}).want(200)
	if diff := cmp.Diff(want, r.dueOf(tank), lines); diff != "" {
		t.Fatalf("after the void (-want +got):\n%s", diff)
	}
	readings := r.do(tx.Viewer, "GET", "/v1/tanks/"+tank+"/readings?parameter=salinity", nil).want(200).items()
	if len(readings) != 1 || readings[0]["value"] != 35.1 {
		t.Fatalf("readings: %v", readings)
	}
}

type dueLine struct{ routine, nominal, earliest, due, latest, state string }

func (r *rig) dueOf(tank string) []dueLine {
	r.t.Helper()
	var out []dueLine
	for _, it := range r.do(tx.Viewer, "GET", "/v1/tanks/"+tank+"/due-work", nil).want(200).items() {
		out = append(out, dueLine{
			it["routine_id"].(string), it["nominal_due"].(string), it["earliest"].(string),
			it["due"].(string), it["latest"].(string), it["state"].(string),
		})
	}
	return out
}

var lines = cmp.AllowUnexported(dueLine{})
