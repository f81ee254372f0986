package api_test

import (
	"strings"
	"testing"

	"tankward/service/tx"
)

// Bad input is answered with a problem that names the field, and changes nothing.
func TestBadInput(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	tank, other := r.tank(site), r.tank(site)
	first := r.routine(tank)
	joined := func(parent string) map[string]any {
		return map[string]any{"kind": "joined", "parent_id": parent, "gap": map[string]any{"unit": "minute", "least": 0, "greatest": 30}}
	}
	second := r.routine(tank, with("cadence", joined(first)), with("days_early", 0))
	foreign := r.send(r.stranger, "POST", "/v1/species", map[string]any{
		"scientific_name": "Aurelia aurita", "trade_name": "moon jelly", "group": "other", "counting": "individual",
	}).want(201).text("id")

	routine := func(change ...func(map[string]any)) map[string]any {
		body := map[string]any{
			"tank_id": tank, "name": "Feed", "work_kind": "inspection", "consequence_class": "upkeep", "active_minutes": 5,
			"performed_by": "technician", "cadence": map[string]any{"kind": "interval", "every": 7, "unit": "day"},
		}
		for _, c := range change {
			c(body)
		}
		return body
	}
	rule := func(text string) func(map[string]any) {
		return with("cadence", map[string]any{"kind": "calendar", "rule": text})
	}
	aSite := func(change ...func(map[string]any)) map[string]any {
		body := map[string]any{
			"name": "x", "time_zone": "UTC", "water_mode": "none",
			"position": map[string]any{"type": "Point", "coordinates": []float64{0, 0}},
		}
		for _, c := range change {
			c(body)
		}
		return body
	}
	before := r.do(tx.Owner, "GET", "/v1/routines", nil).header.Get("Etag")

	for _, c := range []struct {
		what, path string
		body       any
		code       int
		pointer    string
	}{
		{"malformed JSON", "/v1/sites", `{"name": `, 400, ""},
		{"unknown field", "/v1/sites", aSite(with("colour", "red")), 400, "/colour"},
		{"wrong type", "/v1/sites", aSite(with("name", 7)), 400, "/name"},
		{"missing field", "/v1/customers", map[string]any{}, 400, "/name"},
		{"impossible date", "/v1/closures", map[string]any{"site_id": site, "from": "2026-02-30", "to": "2026-03-01"}, 400, "/from"},
		{"ends before it begins", "/v1/closures", map[string]any{"site_id": site, "from": "2026-03-05", "to": "2026-03-01"}, 422, "/to"},
		{"time zone that does not exist", "/v1/sites", aSite(with("time_zone", "Mars/Olympus")), 422, "/time_zone"},
		{"latitude out of range", "/v1/sites", aSite(with("position", map[string]any{"type": "Point", "coordinates": []float64{0, 91}})), 422, "/position/coordinates/1"},
		{"negative volume", "/v1/tanks", map[string]any{
			"site_id": site, "name": "x", "kind": "other", "shape": map[string]any{"form": "stated", "stated_l": -5},
		}, 400, "/shape/stated_l"},
		{"no water left", "/v1/tanks", map[string]any{
			"site_id": site, "name": "x", "kind": "other", "shape": map[string]any{"form": "stated", "stated_l": 50}, "displacement_l": 60,
		}, 422, "/displacement_l"},
		{"dimension missing", "/v1/tanks", map[string]any{
			"site_id": site, "name": "x", "kind": "other", "shape": map[string]any{"form": "box", "length_cm": 50, "width_cm": 40},
		}, 422, "/shape/height_cm"},
		{"rule with a time part", "/v1/routines", routine(rule("FREQ=DAILY;BYHOUR=8")), 422, "/cadence/rule"},
		{"rule with a timed end", "/v1/routines", routine(rule("FREQ=DAILY;UNTIL=20260301T080000Z")), 422, "/cadence/rule"},
		{"rule with a part that is refused", "/v1/routines", routine(rule("FREQ=YEARLY;BYWEEKNO=20")), 422, "/cadence/rule"},
		{"rule that never occurs", "/v1/routines", routine(rule("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30")), 422, "/cadence/rule"},
		{"field of another cadence", "/v1/routines", routine(with("cadence", map[string]any{"kind": "once", "on": "2026-04-01", "every": 7})), 422, "/cadence/every"},
		{"as early as the step", "/v1/routines", routine(with("days_early", 7)), 422, "/days_early"},
		{"joined across tanks", "/v1/routines", routine(with("tank_id", other), with("cadence", joined(first))), 422, "/cadence/parent_id"},
		{"joined to nothing", "/v1/routines", routine(with("cadence", joined(newID().String()))), 422, "/cadence/parent_id"},
		{"unknown tank", "/v1/routines", routine(with("tank_id", newID().String())), 422, "/tank_id"},
		{"species of another organisation", "/v1/livestock", map[string]any{
			"tank_id": tank, "species_id": foreign, "form": "individual", "count": 1, "arrived_on": "2026-03-01",
		}, 422, "/species_id"},
		{"record in the future", "/v1/work-records", map[string]any{"routine_id": first, "result": "done", "done_on": "2026-03-03"}, 422, "/done_on"},
		{"partly without a share", "/v1/work-records", map[string]any{"routine_id": first, "result": "partly"}, 422, "/share_percent"},
		{"skipped without a reason", "/v1/work-records", map[string]any{"routine_id": first, "result": "skipped"}, 422, "/reason"},
		{"unknown parameter", "/v1/work-records", map[string]any{
			"routine_id": first, "result": "done", "readings": []map[string]any{{"parameter": "mana", "value": 1}},
		}, 422, "/readings/0/parameter"},
		{"a value no instrument shows", "/v1/work-records", map[string]any{
			"routine_id": first, "result": "done", "readings": []map[string]any{{"parameter": "ph", "value": 81}},
		}, 422, "/readings/0/value"},
		{"one of several is wrong", "/v1/work-records", []map[string]any{
			{"routine_id": first, "result": "done"}, {"routine_id": first, "result": "partly"},
		}, 422, "/1/share_percent"},
		{"NUL in text", "/v1/customers", "{\"name\": \"a\\u0000b\"}", 400, "/name"},
	} {
		a := r.do(tx.Owner, "POST", c.path, c.body)
		if a.code != c.code {
			t.Errorf("%s: got %d, want %d: %s", c.what, a.code, c.code, a.raw)
			continue
		}
		if c.pointer != "" {
			a.names(c.pointer)
		}
		if ct := a.header.Get("Content-Type"); ct != "application/problem+json" {
			t.Errorf("%s: content type %s", c.what, ct)
		}
	}
	r.do(tx.Owner, "PATCH", "/v1/routines/"+first, map[string]any{"cadence": joined(second), "days_early": 0}).want(422).names("/cadence/parent_id")
	big := `{"name": "` + strings.Repeat("x", 1<<20) + `"}`
	r.do(tx.Owner, "POST", "/v1/customers", big).want(413)
	r.do(tx.Owner, "POST", "/v1/customers", map[string]any{"name": "x"}, header("Content-Type", "text/plain")).want(400)
	r.do(tx.Owner, "GET", "/v1/nothing", nil).want(404)
	r.do(tx.Owner, "PUT", "/v1/sites", map[string]any{}).want(405)
	r.do(tx.Owner, "GET", "/v1/due-work?on=tomorrow", nil).want(400).names("on")
	r.do(tx.Owner, "GET", "/v1/sites/not-an-id", nil).want(400).names("id")

	r.do(tx.Owner, "GET", "/v1/routines", nil, header("If-None-Match", before)).want(304)
}
