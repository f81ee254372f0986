package api_test

import (
	"fmt"
	"sync"
	"testing"

	"tankward/service/tx"
)

// together runs all at the same time.
func together(all ...func()) {
	var wg sync.WaitGroup
	for _, f := range all {
		wg.Go(f)
	}
	wg.Wait()
}

// consistent fails the test when what is stored is not what the history says.
func (r *rig) consistent() {
	r.t.Helper()
	found, err := r.work.Check(r.t.Context(), r.scope)
	if err != nil {
		r.t.Fatal(err)
	}
	for _, d := range found {
		r.t.Error(d)
	}
}

// Records, closures, access windows, pauses and new routines at the same time:
// none overwrites what another has worked out.
func TestCommandsAtTheSameTime(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	var tanks, routines []string
	for range 4 {
		tank := r.tank(site)
		tanks = append(tanks, tank)
		routines = append(routines, r.routine(tank))
	}
	for round := range 8 {
		r.at(fmt.Sprintf("2026-03-%02d 09:00", 2+round*3))
		closure := map[string]any{"from": fmt.Sprintf("2026-03-%02d", 3+round*3), "to": fmt.Sprintf("2026-04-%02d", 1+round)}
		atSite := map[string]any{"site_id": site, "from": closure["from"], "to": closure["to"]}
		old := r.do(tx.Owner, "POST", "/v1/closures", closure).want(201).text("id")
		var all []func()
		for i, routine := range routines {
			all = append(all, func() {
				r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": routine, "result": "done"})
			}, func() {
				r.do(tx.Owner, "POST", "/v1/routines", map[string]any{
					"tank_id": tanks[i], "name": "Feed", "work_kind": "inspection", "consequence_class": "upkeep", "active_minutes": 5,
					"performed_by": "technician", "cadence": map[string]any{"kind": "interval", "every": 5, "unit": "day"}, "days_late": 2,
				})
			})
		}
		together(append(all,
			func() { r.do(tx.Owner, "POST", "/v1/closures", atSite) },
			func() { r.do(tx.Owner, "DELETE", "/v1/closures/"+old, nil) },
			func() {
				r.do(tx.Owner, "PATCH", "/v1/sites/"+site, map[string]any{"access_windows": []map[string]any{
					{"weekday": []string{"monday", "thursday"}[round%2], "from": "08:00", "to": "12:00"},
				}})
			},
			func() {
				r.do(tx.Owner, "POST", "/v1/pauses", map[string]any{"routine_id": routines[round%4], "from": closure["from"], "to": closure["to"]})
			})...)
		r.consistent()
	}
}

// Two requests that create the same at the same time are one.
func TestTheSameCreateTwiceAtOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	tank := r.tank(site)
	for range 10 {
		for path, body := range map[string]map[string]any{
			"/v1/customers":    {"id": newID(), "name": "Quayside"},
			"/v1/tanks":        {"id": newID(), "site_id": site, "name": "x", "kind": "other", "shape": map[string]any{"form": "stated", "stated_l": 50}},
			"/v1/work-records": {"id": newID(), "tank_id": tank, "work_kind": "feeding", "result": "done"},
		} {
			var codes [2]int
			send := func(i int) func() {
				return func() { codes[i] = r.do(tx.Owner, "POST", path, body).code }
			}
			together(send(0), send(1))
			if codes[0]+codes[1] != 401 {
				t.Errorf("%s: %v, want 201 and 200", path, codes)
			}
		}
	}
}

// A closure taken back while a routine is added.
func TestRoutineAddedWhileAClosureGoes(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	tank := r.tank(site)
	for range 10 {
		closure := r.do(tx.Owner, "POST", "/v1/closures", map[string]any{"from": "2026-03-03", "to": "2026-03-20"}).want(201).text("id")
		together(
			func() { r.do(tx.Owner, "DELETE", "/v1/closures/"+closure, nil) },
			func() { r.routine(tank, with("first_day", "2026-03-05")) },
			func() { r.routine(r.tank(site), with("first_day", "2026-03-05")) },
		)
		r.consistent()
	}
}
