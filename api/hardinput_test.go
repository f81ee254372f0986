package api_test

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"tankward/openapi"
	"tankward/service/tx"
)

// hardValues are what callers send by mistake or by malice, in the place of any
// value.
var hardValues = []any{
	nil, true, "", " ", "\u0000", "\u202e", strings.Repeat("x", 70000), "0001-01-01", "1969-12-31", "1970-01-01", "9999-12-31",
	"0001-01-01T00:00:00Z", "9999-12-31T23:59:59.999999999+14:00", "00000000-0000-0000-0000-000000000000", "24:00", "UTC",
	json.Number("-1"), json.Number("0"), json.Number("0.5"), json.Number("1e0"), json.Number("32768"), json.Number("2147483648"),
	json.Number("9223372036854775808"), json.Number("1e308"), json.Number("1e-320"), []any{}, map[string]any{},
}

// withLeaf calls f with a copy of the value for each place in it, in which that
// place holds v.
func withLeaf(whole, v any, f func(at string, changed any)) {
	switch w := whole.(type) {
	case map[string]any:
		for k, old := range w {
			with := func(n any) map[string]any {
				c := maps.Clone(w)
				c[k] = n
				return c
			}
			f("/"+k, with(v))
			withLeaf(old, v, func(at string, changed any) { f("/"+k+at, with(changed)) })
		}
	case []any:
		for i, old := range w {
			with := func(n any) []any {
				c := slices.Clone(w)
				c[i] = n
				return c
			}
			f(fmt.Sprint("/", i), with(v))
			withLeaf(old, v, func(at string, changed any) { f(fmt.Sprint("/", i)+at, with(changed)) })
		}
	}
}

// hardBodies gives, for each command, a body with all its fields.
func hardBodies(r *rig) map[string][]string {
	site := r.site()
	tank := r.tank(site)
	lamp := r.do(tx.Owner, "POST", "/v1/equipment", map[string]any{"tank_id": tank, "kind": "light", "label": "Lamp"}).want(201).text("id")
	first := r.routine(tank)
	ramp := map[string]any{"light_id": lamp, "from_percent": 50, "to_percent": 100, "days": 28, "step_days": 7, "curve": "linear", "greatest_rise_points": 12.5}
	routine := func(cadence, months string) string {
		return `{"tank_id": "` + tank + `", "equipment_id": "` + lamp + `", "name": "x", "work_kind": "inspection", "consequence_class": "upkeep",
			"part_of_day": "any", "active_minutes": 5, "waits": [{"min_minutes": 1, "max_minutes": 2, "presence": "free"}],
			"materials": [{"material": "food", "label": "x", "quantity": 1, "unit": "g"}], "skill": "x", "first_day": "2026-03-02",
			"last_day": "2027-03-02", "catch_up": "merge", "performed_by": "technician", "days_early": 0, "days_late": 1,
			"active_months": [` + months + `], "cadence": ` + cadence + `}`
	}
	light, err := json.Marshal(ramp)
	if err != nil {
		r.t.Fatal(err)
	}
	hours := `[{"weekday": "monday", "from": "08:00", "to": "24:00"}]`
	point := `{"type": "Point", "coordinates": [1, 2]}`
	return map[string][]string{
		"POST /v1/customers": {`{"name": "x", "contact_name": "x", "email": "a@b", "phone": "1", "note": "x"}`},
		"POST /v1/members": {`{"name": "x", "email": "a@b", "phone": "1", "role": "viewer", "time_zone": "UTC", "start_position": ` + point + `,
			"end_position": ` + point + `, "shifts": ` + hours + `, "absences": [{"from": "2026-03-02", "to": "2026-03-03", "reason": "x"}],
			"skills": ["x"], "vehicle": {"name": "x", "payload_kg": 1, "salt_water_l": 1, "fresh_water_l": 1}}`},
		"POST /v1/access-keys": {`{"member_id": "` + r.ids[tx.Viewer].String() + `", "label": "x", "expires_at": "2027-03-02T08:00:00Z"}`},
		"POST /v1/sites": {`{"name": "x", "address": {"street": "x", "postal_code": "1", "city": "x", "region": "x", "country": "x"},
			"position": ` + point + `, "time_zone": "UTC", "access_windows": ` + hours + `, "water_mode": "none",
			"responsible_member_id": "` + r.ids[tx.Viewer].String() + `", "carry_distance_m": 1, "carry_floors": 1, "setup_minutes": 1}`},
		"PUT /v1/sites/" + site + "/access-notes": {`{"text": "x"}`},
		"POST /v1/closures":                       {`{"site_id": "` + site + `", "from": "2026-04-02", "to": "2026-04-03", "reason": "x"}`},
		"POST /v1/tanks": {
			`{"site_id": "` + site + `", "name": "x", "kind": "other", "status": "new", "shape": {"form": "box", "length_cm": 1000, "width_cm": 50, "height_cm": 50},
			"displacement_l": 1, "sump_l": 1, "targets": [{"parameter": "ph", "low": 8, "high": 9}], "started_on": "2026-03-02", "note": "x"}`,
			`{"site_id": "` + site + `", "name": "x", "kind": "other", "shape": {"form": "bow_front", "length_cm": 100, "width_cm": 50, "height_cm": 50, "bow_cm": 10}}`,
		},
		"POST /v1/equipment": {`{"tank_id": "` + tank + `", "kind": "light", "label": "x", "power_w": 1, "installed_on": "2026-03-02", "note": "x"}`},
		"POST /v1/routines": {
			routine(`{"kind": "interval", "every": 7, "unit": "day"}`, "1, 4"), routine(`{"kind": "calendar", "rule": "FREQ=WEEKLY;BYDAY=MO"}`, "4"),
			routine(`{"kind": "once", "on": "2026-04-01"}`, ""), routine(`{"kind": "ramp", "ramp": `+string(light)+`}`, ""),
			routine(`{"kind": "joined", "parent_id": "`+first+`", "gap": {"unit": "minute", "least": 0, "greatest": 30}}`, ""),
		},
		"PATCH /v1/routines/" + first: {`{"name": "x", "days_late": 1, "days_early": 1, "last_day": "2030-03-02", "cadence": {"kind": "interval", "every": 9, "unit": "day"}}`},
		"POST /v1/pauses":             {`{"routine_id": "` + first + `", "from": "2026-03-02", "to": "2026-03-04", "reason": "x"}`, `{"tank_id": "` + tank + `", "from": "2026-03-02"}`},
		"POST /v1/work-records": {
			`{"routine_id": "` + first + `", "nominal_due": "2026-03-02", "ordinal": 0, "done_at": "2026-03-02T08:00:00Z", "result": "partly",
			"share_percent": 50, "reason": "x", "minutes": 5, "amounts": [{"material": "food", "label": "x", "quantity": 1, "unit": "g"}],
			"readings": [{"parameter": "ph", "value": 8, "unit": "pH", "taken_at": "2026-03-02T08:00:00Z", "method": "x"}], "note": "x",
			"done_by": {"kind": "other", "name": "x"}}`,
			`{"routine_id": "` + first + `", "done_on": "2026-03-02", "result": "skipped", "reason": "x", "with_joined": true}`,
			`[{"tank_id": "` + tank + `", "work_kind": "feeding", "result": "done"}]`,
		},
	}
}

// Whatever stands in the place of a field: an answer, never an error of ours,
// and one that a reader of the contract understands.
func TestHardInput(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	all := hardBodies(r)
	for _, call := range slices.Sorted(maps.Keys(all)) {
		bodies := all[call]
		method, path, _ := strings.Cut(call, " ")
		for _, raw := range bodies {
			var body any
			if err := json.Unmarshal([]byte(raw), &body); err != nil {
				t.Fatalf("%s: %v", raw, err)
			}
			if a := r.do(tx.Owner, method, path, body); a.code >= 300 {
				t.Errorf("%s refuses a good body: %s", call, a.raw)
			}
			for _, v := range hardValues {
				withLeaf(body, v, func(at string, changed any) {
					a := r.do(tx.Owner, method, path, changed)
					if a.code >= 500 || strings.Contains(string(a.raw), "Go ") {
						t.Errorf("%s with %.40q at %s: %d %s", call, fmt.Sprint(v), at, a.code, a.raw)
					}
					if a.code == 201 && path != "/v1/work-records" {
						r.do(tx.Owner, "DELETE", path+"/"+a.text("id"), nil).want(200)
					}
				})
			}
		}
	}
	if found, err := r.work.Check(t.Context(), r.scope); err != nil || len(found) > 0 {
		t.Errorf("check: %v, %v", found, err)
	}
}

// The same for every parameter of every read.
func TestHardParameters(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	tank := r.tank(site)
	ids := strings.NewReplacer("/sites/{id}", "/sites/"+site, "/tanks/{id}", "/tanks/"+tank, "/routines/{id}", "/routines/"+r.routine(tank), "{id}", newID().String())
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		t.Fatal(err)
	}
	values := []string{
		"", "0", "-1", "2147483648", "0001-01-01", "9999-12-31", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "\u0000", "%", "zzz",
		"00000000-0000-0000-0000-000000000000", newID().String(),
	}
	for _, raw := range []string{
		"\xff\xff\xff\xff\xff\xff\xff\xff0123456789abcdef", "\x7f\xff\xff\xff\xff\xff\xff\xff0123456789abcdef", "0123456789abcdef", "99999999999",
		"-9999999999", `{"Kind":"\u0000","Class":1}`, `{"Class":99999}`, `{"Latest":2147483647,"Class":-1,"NominalDue":-2147483648,"Ordinal":-99999999999}`, "null", "[]", `{}`,
	} {
		values = append(values, base64.RawURLEncoding.EncodeToString([]byte(raw)))
	}
	for path, item := range doc.Paths.Map() {
		if item.Get == nil {
			continue
		}
		for _, p := range slices.Concat(item.Parameters, item.Get.Parameters) {
			if p.Value.In != "query" {
				continue
			}
			for _, v := range values {
				target := ids.Replace(path) + "?" + url.Values{p.Value.Name: {v}}.Encode()
				if a := r.do(tx.Owner, "GET", target, nil); a.code >= 500 {
					t.Errorf("GET %s: %d %s", target, a.code, a.raw)
				}
			}
		}
	}
}
