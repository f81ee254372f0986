package api_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"tankward/service/tx"
)

// What lives in a tank decides which cautions stand beside its work.
func TestCautionsFollowTheAnimals(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	r.routine(tank)
	codes := func() []string {
		var out []string
		for _, c := range r.do(tx.TechnicianR, "GET", "/v1/tanks/"+tank+"/due-work", nil).want(200).items()[0]["cautions"].([]any) {
			out = append(out, c.(map[string]any)["code"].(string))
		}
		return out
	}
	if got := codes(); slices.Contains(got, "palytoxin") || !slices.Contains(got, "electricity") {
		t.Errorf("without zoanthids: %v", got)
	}
	r.do(tx.Owner, "POST", "/v1/livestock", map[string]any{
		"tank_id": tank, "species_id": "zoanthus-sp", "form": "mat", "count": 1, "arrived_on": "2026-02-01",
	}).want(201)
	if got := codes(); !slices.Contains(got, "palytoxin") {
		t.Errorf("with zoanthids: %v", got)
	}
}

func TestDueWorkOfOtherDays(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	routine := r.routine(tank)
	r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": routine, "result": "done"}).want(201)
	r.at("2026-03-16 10:00")
	for on, want := range map[string]string{
		"2026-03-01": "", "2026-03-02": "", "2026-03-08": "early", "2026-03-09": "due", "2026-03-13": "overdue", "2026-03-16": "overdue",
		"2026-03-17": "", "2026-03-23": "due", "2026-03-24": "", "2026-03-30": "due",
	} {
		got := ""
		for _, it := range r.do(tx.Viewer, "GET", "/v1/due-work?tank_id="+tank+"&on="+on, nil).want(200).items() {
			got += it["state"].(string)
		}
		if got != want {
			t.Errorf("on %s: %q, want %q", on, got, want)
		}
	}
	r.do(tx.Viewer, "GET", "/v1/due-work?on=2028-01-01", nil).want(400).names("on")
}

func TestJoinedWorkFollowsItsParent(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	parent := r.routine(tank)
	child := r.routine(tank, with("name", "Sock"), with("work_kind", "filter_sock_change"), with("days_early", 0), with("days_late", 1),
		with("cadence", map[string]any{"kind": "joined", "parent_id": parent, "gap": map[string]any{"unit": "minute", "least": 0, "greatest": 60}}))
	r.do(tx.Owner, "DELETE", "/v1/routines/"+parent, nil).want(409)
	r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": parent, "result": "done"}).want(201)
	want := []dueLine{{child, "2026-03-02", "2026-03-02", "2026-03-02", "2026-03-03", "due"}}
	if diff := cmp.Diff(want, r.dueOf(tank), lines); diff != "" {
		t.Fatalf("child left (-want +got):\n%s", diff)
	}
	r.at("2026-03-09 08:00")
	r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": child, "result": "done"}).want(201)
	r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{
		"routine_id": parent, "result": "skipped", "reason": "guests", "with_joined": true,
	}).want(201)
	if got := r.dueOf(tank); len(got) != 0 {
		t.Errorf("after the parent was skipped with its joined work: %v", got)
	}
}

func TestClosureMovesWork(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	tank := r.tank(site)
	routine := r.routine(tank)
	r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": routine, "result": "done"}).want(201)
	closure := r.do(tx.Coordinator, "POST", "/v1/closures", map[string]any{"site_id": site, "from": "2026-03-09", "to": "2026-03-09"}).want(201)
	if closure.text("entered_on") != "2026-03-02" {
		t.Errorf("entered on %s", closure.text("entered_on"))
	}
	r.at("2026-03-08 08:00")
	want := []dueLine{{routine, "2026-03-09", "2026-03-07", "2026-03-08", "2026-03-12", "due"}}
	if diff := cmp.Diff(want, r.dueOf(tank), lines); diff != "" {
		t.Fatalf("moved (-want +got):\n%s", diff)
	}
	r.do(tx.Coordinator, "DELETE", "/v1/closures/"+closure.text("id"), nil).want(200)
	want[0].due, want[0].state = "2026-03-09", "early"
	if diff := cmp.Diff(want, r.dueOf(tank), lines); diff != "" {
		t.Fatalf("taken back (-want +got):\n%s", diff)
	}
}

func TestPauses(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	routine := r.routine(tank)
	r.do(tx.Coordinator, "POST", "/v1/pauses", map[string]any{"from": "2026-03-03"}).want(422).names("/tank_id")
	p := r.do(tx.Coordinator, "POST", "/v1/pauses", map[string]any{"routine_id": routine, "from": "2026-03-02", "reason": "pump away"}).want(201)
	if got := r.dueOf(tank); len(got) != 0 {
		t.Errorf("in a pause: %v", got)
	}
	r.do(tx.Coordinator, "PATCH", "/v1/pauses/"+p.text("id"), map[string]any{"to": "2026-03-05"}).want(200)
	r.at("2026-03-05 08:00")
	if got := r.dueOf(tank); len(got) != 1 || got[0].due != "2026-03-05" {
		t.Errorf("resumed: %v", got)
	}

	r.do(tx.Owner, "POST", "/v1/livestock", map[string]any{
		"tank_id": tank, "species_id": "amphiprion-ocellaris", "form": "individual", "count": 2, "arrived_on": "2026-02-01",
	}).want(201)
	r.do(tx.Coordinator, "POST", "/v1/pauses", map[string]any{"tank_id": tank, "from": "2026-03-06"}).want(422).names("/tank_id")
	r.do(tx.Coordinator, "PATCH", "/v1/tanks/"+tank, map[string]any{"status": "paused"}).want(422).names("/status")
	r.do(tx.Coordinator, "DELETE", "/v1/tanks/"+tank, nil).want(409)

	empty := r.tank(r.site())
	r.routine(empty)
	r.do(tx.Coordinator, "PATCH", "/v1/tanks/"+empty, map[string]any{"status": "paused"}).want(200)
	if got := r.dueOf(empty); len(got) != 0 {
		t.Errorf("a paused tank has due work: %v", got)
	}
	r.do(tx.Coordinator, "PATCH", "/v1/tanks/"+empty, map[string]any{"status": "established"}).want(200)
	if got := r.dueOf(empty); len(got) != 1 {
		t.Errorf("a tank back in use: %v", got)
	}
}

func TestLifeSupportIsSkippedByCoordinatorsOnly(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	routine := r.routine(tank, with("consequence_class", "life_support"))
	body := map[string]any{"routine_id": routine, "result": "skipped", "reason": "spare part tomorrow"}
	r.do(tx.TechnicianR, "POST", "/v1/work-records", body).want(422).names("/result")
	r.do(tx.Coordinator, "POST", "/v1/work-records", body).want(422).names("/new_due_on")
	body["new_due_on"] = "2026-03-03"
	r.do(tx.Coordinator, "POST", "/v1/work-records", body).want(201)
	r.at("2026-03-03 08:00")
	if got := r.dueOf(tank); len(got) != 1 || got[0].due != "2026-03-03" || got[0].state != "due" {
		t.Errorf("the next day: %v", got)
	}
}

// Common practice, no published source: 50 to 100 % over four weeks in weekly steps.
func TestLightRamp(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	id := r.routine(tank, with("name", "Light ramp"), with("work_kind", "light_step"), with("days_early", 0), with("days_late", 2),
		with("cadence", map[string]any{"kind": "ramp", "ramp": map[string]any{"from_percent": 50, "to_percent": 100, "days": 28, "step_days": 7}}))
	ramp := r.do(tx.Viewer, "GET", "/v1/routines/"+id+"/ramp", nil).want(200)
	var levels []float64
	for _, l := range ramp.body["levels"].([]any) {
		levels = append(levels, l.(map[string]any)["level_percent"].(float64))
	}
	if want := []float64{50, 62.5, 75, 87.5, 100}; !slices.Equal(levels, want) {
		t.Fatalf("levels %v, want %v", levels, want)
	}
	set := func(level float64) {
		t.Helper()
		r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": id, "result": "done", "level_percent": level}).want(201)
	}
	r.do(tx.Coordinator, "POST", "/v1/routines/"+id+"/ramp/step-back", map[string]any{"reason": "paling"}).want(409)
	set(50)
	r.at("2026-03-09 08:00")
	set(62.5)
	r.at("2026-03-12 08:00")
	r.do(tx.TechnicianR, "POST", "/v1/routines/"+id+"/ramp/hold", map[string]any{"reason": "paling"}).want(200)
	r.do(tx.TechnicianR, "POST", "/v1/routines/"+id+"/ramp/hold", map[string]any{"reason": "again"}).want(409)
	r.at("2026-03-16 08:00")
	if got := r.dueOf(tank); len(got) != 0 {
		t.Errorf("due in a hold: %v", got)
	}
	back := r.do(tx.TechnicianR, "POST", "/v1/routines/"+id+"/ramp/step-back", map[string]any{"reason": "still pale"}).want(200)
	if back.body["stepping_back"] != true {
		t.Errorf("not stepping back: %s", back.raw)
	}
	items := r.do(tx.Viewer, "GET", "/v1/tanks/"+tank+"/due-work", nil).want(200).items()
	if len(items) != 1 || items[0]["level_percent"] != 50.0 || items[0]["state"] != "due" {
		t.Fatalf("step back: %v", items)
	}
	set(50)
	resumed := r.do(tx.Coordinator, "POST", "/v1/routines/"+id+"/ramp/resume", map[string]any{"reason": "colour is back"}).want(200)
	if next := resumed.body["next"].(map[string]any); next["due"] != "2026-03-23" || next["level_percent"] != 62.5 {
		t.Errorf("next after the hold: %v", next)
	}
	r.do(tx.Coordinator, "POST", "/v1/routines/"+r.routine(tank)+"/ramp/hold", map[string]any{"reason": "x"}).want(409)
}

func TestRevisionsAndKinds(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	id := r.routine(tank)
	path := "/v1/routines/" + id
	r.at("2026-03-04 08:00")
	changed := r.do(tx.Coordinator, "PATCH", path, map[string]any{
		"cadence": map[string]any{"kind": "calendar", "rule": "FREQ=WEEKLY;BYDAY=MO"}, "days_early": 1,
	}).want(200)
	if changed.text("from_day") != "2026-03-04" {
		t.Errorf("counts from %s", changed.text("from_day"))
	}
	revisions := r.do(tx.Viewer, "GET", path+"/revisions", nil).want(200).items()
	if len(revisions) != 2 {
		t.Fatalf("%d revisions", len(revisions))
	}
	if got := r.dueOf(tank); len(got) != 1 || got[0].nominal != "2026-03-02" {
		t.Errorf("the open item lost its dates: %v", got)
	}
	r.do(tx.Coordinator, "PATCH", path, map[string]any{"first_day": "2026-01-01"}).want(400).names("/first_day")
	box := r.do(tx.Coordinator, "PATCH", "/v1/tanks/"+tank, map[string]any{
		"shape": map[string]any{"form": "box", "length_cm": 100, "width_cm": 50, "height_cm": 50},
	}).want(200)
	if box.body["net_l"] != 250.0 {
		t.Errorf("net litres %v", box.body["net_l"])
	}
}

func TestDuePages(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	want := map[string]bool{}
	for range 3 {
		tank := r.tank(site)
		for _, class := range []string{"upkeep", "life_support", "water_quality"} {
			want[r.routine(tank, with("consequence_class", class))] = true
		}
	}
	r.at("2026-03-20 08:00")
	var classes []string
	target := "/v1/due-work?limit=2"
	for target != "" {
		a := r.do(tx.Viewer, "GET", target, nil).want(200)
		for _, it := range a.items() {
			classes = append(classes, it["consequence_class"].(string))
			if !want[it["routine_id"].(string)] {
				t.Errorf("twice or unknown: %v", it["routine_id"])
			}
			delete(want, it["routine_id"].(string))
		}
		next, _ := a.body["next"].(string)
		target = ""
		if next != "" {
			target = "/v1/due-work?limit=2&cursor=" + next
		}
	}
	if len(want) > 0 || len(classes) != 9 {
		t.Errorf("left out: %v", want)
	}
	ordered := slices.IsSortedFunc(classes, func(a, b string) int {
		rank := []string{"life_support", "animal_welfare", "water_quality", "upkeep"}
		return slices.Index(rank, a) - slices.Index(rank, b)
	})
	if !ordered {
		t.Errorf("order: %v", classes)
	}
}

// Life support that is due on a closed day is not moved: it goes to the keeper.
func TestClosedDayGivesLifeSupportToTheKeeper(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	tank := r.tank(site)
	r.routine(tank, with("name", "Air pump looked at"), with("work_kind", "equipment_service"), with("consequence_class", "life_support"))
	r.do(tx.Coordinator, "POST", "/v1/closures", map[string]any{"site_id": site, "from": "2026-03-02", "to": "2026-03-03"}).want(201)
	path := "/v1/due-work?tank_id=" + tank + "&performed_by="
	if got := r.do(tx.Viewer, "GET", path+"technician", nil).want(200).items(); len(got) != 0 {
		t.Errorf("a technician is sent to a closed site: %v", got)
	}
	items := r.do(tx.Viewer, "GET", path+"keeper", nil).want(200).items()
	if len(items) != 1 || items[0]["due"] != "2026-03-02" || items[0]["performed_by"] != "keeper" {
		t.Errorf("the keeper's work: %v", items)
	}
}
