package api_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"tankward/service/tx"
)

// Work that follows other work by days is shown from the day on which that was
// done, in the list of today as in that of the day.
func TestWaitingWorkIsListed(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	parent := r.routine(tank)
	child := r.routine(tank, with("name", "Alkalinity"), with("work_kind", "water_test"), with("days_early", 0), with("days_late", 0),
		with("cadence", map[string]any{"kind": "joined", "parent_id": parent, "gap": map[string]any{"unit": "day", "least": 3, "greatest": 4}}))
	r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": parent, "result": "done"}).want(201)
	want := []dueLine{{child, "2026-03-05", "2026-03-05", "2026-03-05", "2026-03-06", "waiting"}}
	if diff := cmp.Diff(want, r.dueOf(tank), lines); diff != "" {
		t.Errorf("due work of the tank (-want +got):\n%s", diff)
	}
	for _, query := range []string{"", "&on=2026-03-02"} {
		items := r.do(tx.Viewer, "GET", "/v1/due-work?state=waiting"+query, nil).want(200).items()
		if len(items) != 1 || items[0]["routine_id"] != child {
			t.Errorf("due work that waits%s: %v", query, items)
		}
	}
}
