package api_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"tankward/service/tx"
)

// listOf gives a list of objects in the body.
func (a answer) listOf(field string) []map[string]any {
	a.t.Helper()
	list, ok := a.body[field].([]any)
	if !ok {
		a.t.Fatalf("%s: no list %q in %s", a.what, field, a.raw)
	}
	out := make([]map[string]any, len(list))
	for i, it := range list {
		out[i] = it.(map[string]any)
	}
	return out
}

func namesOf(list []map[string]any) []any {
	out := make([]any, len(list))
	for i, it := range list {
		out[i] = it["name"]
	}
	return out
}

// after gives the day so many days after another.
func after(t *testing.T, day string, days any) string {
	t.Helper()
	d, err := time.Parse(time.DateOnly, day)
	if err != nil {
		t.Fatal(err)
	}
	return d.AddDate(0, 0, int(days.(float64))).Format(time.DateOnly)
}

func TestReadySetOfEveryKind(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	for _, kind := range []string{"soft_mixed", "small_polyp", "anemone", "fish_only", "quarantine", "club_display", "pond", "other"} {
		tank := r.tank(site, with("kind", kind))
		path := "/v1/tanks/" + tank + "/ready-set"
		preview := r.do(tx.Viewer, "GET", path, nil).want(200)
		drafts := preview.listOf("routines")
		if len(drafts) == 0 {
			t.Fatalf("%s: no routines", kind)
		}
		made := r.do(tx.Coordinator, "POST", path, map[string]any{"first_day": "2026-03-09"}).want(201)
		routines := made.listOf("routines")
		if diff := cmp.Diff(namesOf(drafts), namesOf(routines)); diff != "" {
			t.Errorf("%s: made other routines than shown (-shown +made):\n%s", kind, diff)
		}
		if diff := cmp.Diff(preview.listOf("left_out"), made.listOf("left_out")); diff != "" {
			t.Errorf("%s: left out (-shown +made):\n%s", kind, diff)
		}
		ids := map[any]any{} // code to id
		for i, d := range drafts {
			ids[d["code"]] = routines[i]["id"]
			cadence := routines[i]["cadence"].(map[string]any)
			if parent, joined := d["joined_to"]; joined && (cadence["parent_id"] != ids[parent] || ids[parent] == nil) {
				t.Errorf("%s: %s follows %v, want %v", kind, d["code"], cadence["parent_id"], ids[parent])
			}
		}
		stored := r.do(tx.Viewer, "GET", "/v1/routines?limit=500&tank_id="+tank, nil).want(200).items()
		if len(stored) != len(routines) {
			t.Errorf("%s: %d routines stored, %d answered", kind, len(stored), len(routines))
		}
	}
}

func TestReadySetAppliedTwice(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	path := "/v1/tanks/" + tank + "/ready-set"
	first := r.do(tx.Owner, "POST", path, nil).want(201)
	again := r.do(tx.Owner, "POST", path, nil).want(200)
	if n := len(again.listOf("routines")); n != 0 {
		t.Errorf("%d routines made again", n)
	}
	missing := namesOf(first.listOf("routines"))
	left := namesOf(again.listOf("left_out"))
	for _, name := range missing {
		if !slices.Contains(left, name) {
			t.Errorf("%v is neither made nor left out", name)
		}
	}
	if n := len(r.do(tx.Owner, "GET", path, nil).want(200).listOf("routines")); n != 0 {
		t.Errorf("the preview shows %d routines that are there", n)
	}
}

// What is joined to a routine that was there before follows that one.
func TestReadySetFollowsWhatIsThere(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	path := "/v1/tanks/" + tank + "/ready-set"
	var change, follower map[string]any
	for _, d := range r.do(tx.Owner, "GET", path, nil).want(200).listOf("routines") {
		if d["code"] == "water_change" {
			change = d
		}
		if d["joined_to"] == "water_change" && follower == nil {
			follower = d
		}
	}
	if change == nil || follower == nil {
		t.Fatal("the set has no water change that something follows")
	}
	own := r.routine(tank, with("name", change["name"]), with("cadence", map[string]any{"kind": "interval", "every": 10, "unit": "day"}))
	made := r.do(tx.Owner, "POST", path, nil).want(201)
	if !slices.ContainsFunc(made.listOf("left_out"), func(l map[string]any) bool {
		return l["name"] == change["name"] && strings.Contains(l["reason"].(string), "already")
	}) {
		t.Errorf("the water change is not said to be left out: %s", made.raw)
	}
	found := false
	for _, m := range made.listOf("routines") {
		if m["name"] == change["name"] {
			t.Errorf("made a second water change: %v", m)
		}
		if m["name"] == follower["name"] {
			found = true
			if parent := m["cadence"].(map[string]any)["parent_id"]; parent != own {
				t.Errorf("%v follows %v, want the routine that was there, %s", m["name"], parent, own)
			}
		}
	}
	if !found {
		t.Errorf("%v was not made: %s", follower["name"], made.raw)
	}
}

func TestReadySetFitsTheTank(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site(), with("kind", "small_polyp"))
	path := "/v1/tanks/" + tank + "/ready-set"
	shown := func(query string) []any {
		return namesOf(r.do(tx.Viewer, "GET", path+query, nil).want(200).listOf("routines"))
	}
	plain := shown("")
	if diff := cmp.Diff(plain, shown("?lacks=heater")); diff == "" {
		t.Error("a tank without a heater gets the same routines")
	}
	if diff := cmp.Diff(plain, shown("?uses=carbon")); diff == "" {
		t.Error("a tank with carbon gets the same routines")
	}
	r.added("/v1/equipment", map[string]any{"tank_id": tank, "kind": "light", "label": "lamp"}, nil)
	if diff := cmp.Diff(shown("?lacks=return_pump,wavemaker,heater,skimmer,top_off,doser,co2"), shown("")); diff != "" {
		t.Errorf("recorded equipment says what is lacking (-said +found):\n%s", diff)
	}
	r.do(tx.Viewer, "GET", path+"?uses=skimmer&lacks=skimmer", nil).want(400).names("lacks")
	r.do(tx.Owner, "POST", path, map[string]any{"uses": []string{"skimmer"}, "lacks": []string{"heater", "skimmer"}}).want(422).names("/lacks/1")
	r.do(tx.Owner, "POST", path, map[string]any{"uses": []string{"magic"}}).want(400).names("/uses/0")
	every := func(body map[string]any) any {
		for _, d := range r.do(tx.Owner, "POST", "/v1/tanks/"+r.tank(r.site())+"/ready-set", body).want(201).listOf("routines") {
			if d["work_kind"] == "top_off" {
				return d["cadence"].(map[string]any)["every"]
			}
		}
		return nil
	}
	// 30 L at 3 L a day last 10 days: refilled two days before.
	if got := every(map[string]any{"reservoir_l": 30, "evaporation_l_per_day": 3}); got != 8.0 {
		t.Errorf("refilled every %v days, want 8", got)
	}
}

func TestReadySetOfNoTank(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	path := "/v1/tanks/" + tank + "/ready-set"
	r.send(r.stranger, "GET", path, nil).want(404)
	r.send(r.stranger, "POST", path, nil).want(404)
	r.do(tx.Owner, "POST", "/v1/tanks/"+newID().String()+"/ready-set", nil).want(404)
	r.do(tx.TechnicianR, "POST", path, nil).want(403)
	r.do(tx.Owner, "DELETE", "/v1/tanks/"+tank, nil).want(200)
	r.do(tx.Owner, "POST", path, nil).want(409)
}

// The days of a set count from the site's own today, or from the day that is
// asked for.
func TestReadySetDays(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site(with("time_zone", "Pacific/Auckland"))
	r.at("2026-03-02 20:00") // the 3rd in Auckland
	for body, first := range map[string]string{"": "2026-03-03", `{"first_day":"2026-04-01"}`: "2026-04-01"} {
		path := "/v1/tanks/" + r.tank(site, with("kind", "quarantine")) + "/ready-set"
		drafts := r.do(tx.Owner, "GET", path, nil).want(200).listOf("routines")
		var send any
		if body != "" {
			send = body
		}
		for i, m := range r.do(tx.Owner, "POST", path, send).want(201).listOf("routines") {
			if want := after(t, first, drafts[i]["starts_after_days"]); m["first_day"] != want {
				t.Errorf("%v begins on %v, want %s", m["name"], m["first_day"], want)
			}
			if ends, limited := drafts[i]["ends_after_days"]; limited != (m["last_day"] != nil) || limited && m["last_day"] != after(t, first, ends) {
				t.Errorf("%v ends on %v, draft %v", m["name"], m["last_day"], ends)
			}
		}
	}
}
