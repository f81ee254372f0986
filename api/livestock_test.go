package api_test

import (
	"maps"
	"net/http"
	"testing"

	"github.com/google/go-cmp/cmp"

	"tankward/service/tx"
)

// fact is a fact of a species as it is sent.
func fact(name string, more map[string]any) map[string]any {
	out := map[string]any{"fact": name, "mark": "from_memory"}
	maps.Copy(out, more)
	return out
}

func (r *rig) species(change ...func(map[string]any)) string {
	r.t.Helper()
	return r.added("/v1/species", map[string]any{
		"scientific_name": "Discosoma sp.", "trade_name": "blue mushroom", "group": "soft", "counting": "colony",
	}, change)
}

func (r *rig) livestock(tank string, change ...func(map[string]any)) string {
	r.t.Helper()
	return r.added("/v1/livestock", map[string]any{"tank_id": tank, "species_id": "amphiprion-ocellaris", "count": 2}, change)
}

func (a answer) number(field string) float64 {
	a.t.Helper()
	n, ok := a.body[field].(float64)
	if !ok {
		a.t.Fatalf("%s: no number %q in %s", a.what, field, a.raw)
	}
	return n
}

func TestSpeciesOfTheCatalogue(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	const path = "/v1/species/amphiprion-ocellaris"
	got := r.do(tx.Viewer, "GET", path, nil).want(200)
	if got.text("origin") != "catalogue" || got.text("scientific_name") != "Amphiprion ocellaris" {
		t.Errorf("got %s", got.raw)
	}
	r.do(tx.Viewer, "GET", path, nil, header("If-None-Match", got.header.Get("ETag"))).want(304)
	r.do(tx.Viewer, "GET", path, nil, header("If-None-Match", `"1"`)).want(200)
	r.do(tx.Viewer, "GET", "/v1/species/felis-catus", nil).want(404)
	for method, body := range map[string]any{"PATCH": map[string]any{"trade_name": "mine"}, "DELETE": nil} {
		r.do(tx.Owner, method, path, body).want(409)
		r.do(tx.Owner, method, "/v1/species/felis-catus", body).want(404)
		r.do(tx.Owner, method, "/v1/species/"+newID().String(), body).want(404)
	}
}

func TestOwnSpecies(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	id := newID().String()
	body := map[string]any{
		"id": id, "scientific_name": "Discosoma sp.", "trade_name": "blue mushroom", "group": "soft", "counting": "colony",
		"synonyms": []string{"Actinodiscus sp."},
		"facts":    []any{fact("light_ppfd", map[string]any{"low": 40, "high": 120, "unit": "umol/m2/s"}), fact("placement", map[string]any{"text": "low"})},
		"cautions": []any{map[string]any{"code": "slimes", "text": "Slimes when cut."}},
	}
	made := r.do(tx.Coordinator, "POST", "/v1/species", body).want(201)
	if made.header.Get("Location") != "/v1/species/"+id {
		t.Errorf("location %q", made.header.Get("Location"))
	}
	r.do(tx.Coordinator, "POST", "/v1/species", body).want(200)
	body["trade_name"] = "red mushroom"
	r.do(tx.Coordinator, "POST", "/v1/species", body).want(409).names("/id")

	path := "/v1/species/" + id
	got := r.do(tx.Viewer, "GET", path, nil).want(200)
	if diff := cmp.Diff(made.body, got.body); diff != "" {
		t.Errorf("read back (-made +got):\n%s", diff)
	}
	r.do(tx.Coordinator, "PATCH", path, map[string]any{"counting": "mat"}, header("If-Match", `"9"`)).want(412)
	changed := r.do(tx.Coordinator, "PATCH", path, map[string]any{"counting": "mat", "facts": nil}, header("If-Match", `"1"`)).want(200)
	want := got.body
	want["counting"], want["facts"], want["version"], want["updated_at"] = "mat", []any{}, 2.0, changed.body["updated_at"]
	if diff := cmp.Diff(want, changed.body); diff != "" {
		t.Errorf("patched (-want +got):\n%s", diff)
	}
	r.do(tx.Coordinator, "PATCH", path, map[string]any{"counting": "mat"}).want(200)
	if v := r.do(tx.Viewer, "GET", path, nil).want(200).number("version"); v != 2 {
		t.Errorf("version %v after a change of nothing", v)
	}
	r.send(r.stranger, "GET", path, nil).want(404)
	r.send(r.stranger, "PATCH", path, map[string]any{"counting": "mat"}).want(404)
	r.do(tx.Owner, "DELETE", path, nil).want(200)
	r.do(tx.Owner, "PATCH", path, map[string]any{"counting": "colony"}).want(409)
}

func TestSpeciesBadInput(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	for name, c := range map[string]struct {
		field   string
		value   any
		code    int
		pointer string
	}{
		"blank name":           {"scientific_name", " ", 400, "/scientific_name"},
		"unknown group":        {"group", "bird", 400, "/group"},
		"wrong unit":           {"facts", []any{fact("light_ppfd", map[string]any{"value": 4, "unit": "lux"})}, 422, "/facts/0/unit"},
		"impossible value":     {"facts", []any{fact("light_ppfd", map[string]any{"value": -4, "unit": "umol/m2/s"})}, 422, "/facts/0/value"},
		"value and band":       {"facts", []any{fact("adult_cm", map[string]any{"value": 4, "low": 1, "unit": "cm"})}, 422, "/facts/0"},
		"source of a known":    {"facts", []any{map[string]any{"fact": "hosts", "text": "any", "mark": "published"}}, 422, "/facts/0/source"},
		"NUL":                  {"trade_name", "a\x00b", 400, "/trade_name"},
		"two of one caution":   {"cautions", []any{map[string]any{"code": "a", "text": "b"}, map[string]any{"code": "a", "text": "c"}}, 422, "/cautions/1/code"},
		"a field that is ours": {"origin", "catalogue", 400, "/origin"},
	} {
		t.Log(name)
		body := map[string]any{"scientific_name": "Discosoma sp.", "trade_name": "blue mushroom", "group": "soft", "counting": "colony"}
		body[c.field] = c.value
		r.do(tx.Owner, "POST", "/v1/species", body).want(c.code).names(c.pointer)
	}
	if got := r.do(tx.Viewer, "GET", "/v1/species?origin=own", nil).want(200).items(); len(got) != 0 {
		t.Errorf("bad input made %v", got)
	}
}

func TestSpeciesList(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	own := r.species(with("scientific_name", "Amphiprion ocellaris"), with("trade_name", "our breeding line"))
	first := r.do(tx.Viewer, "GET", "/v1/species?q=ocellaris&limit=1", nil).want(200)
	second := r.do(tx.Viewer, "GET", "/v1/species?q=ocellaris&limit=1&cursor="+first.text("next"), nil).want(200)
	got := map[any]bool{first.items()[0]["id"]: true, second.items()[0]["id"]: true}
	if diff := cmp.Diff(map[any]bool{own: true, "amphiprion-ocellaris": true}, got); diff != "" {
		t.Errorf("both pages (-want +got):\n%s", diff)
	}
	if first.header.Get("Link") == "" {
		t.Error("no link to the next page")
	}
	if got := r.do(tx.Viewer, "GET", "/v1/species?q=breeding+OUR", nil).want(200).items(); len(got) != 1 || got[0]["id"] != own {
		t.Errorf("by words: %v", got)
	}
	tag := header("If-None-Match", first.header.Get("ETag"))
	r.do(tx.Viewer, "GET", "/v1/species?q=ocellaris&limit=1", nil, tag).want(304)
	r.species()
	r.do(tx.Viewer, "GET", "/v1/species?q=ocellaris&limit=1", nil, tag).want(200)
	r.do(tx.Viewer, "GET", "/v1/species?cursor=x", nil).want(400).names("cursor")
	r.do(tx.Viewer, "GET", "/v1/species?group=birds", nil).want(400).names("group")
	for _, it := range r.do(tx.Viewer, "GET", "/v1/species?origin=catalogue&group=anemone", nil).want(200).items() {
		if it["group"] != "anemone" || it["origin"] != "catalogue" {
			t.Errorf("found %v", it)
		}
	}
}

func TestLivestock(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	made := r.do(tx.TechnicianR, "POST", "/v1/livestock", map[string]any{
		"tank_id": tank, "species_id": "amphiprion-ocellaris", "count": 2, "label": "the pair", "place": "left",
	}).want(201)
	path := "/v1/livestock/" + made.text("id")
	if made.text("state") != "settling" || made.text("form") != "individual" || made.text("arrived_on") != "2026-03-02" {
		t.Errorf("what is not said: %s", made.raw)
	}
	events := r.do(tx.Viewer, "GET", path+"/events", nil).want(200).items()
	if len(events) != 1 || events[0]["kind"] != "arrival" || events[0]["delta"] != 2.0 || events[0]["recorded_by"] != r.ids[tx.TechnicianR].String() {
		t.Errorf("events %v", events)
	}
	patched := r.do(tx.TechnicianR, "PATCH", path, map[string]any{"state": "settled", "place": nil}, header("If-Match", `"1"`)).want(200)
	if _, there := patched.body["place"]; there || patched.number("count") != 2 || patched.text("label") != "the pair" {
		t.Errorf("patched: %s", patched.raw)
	}
	r.do(tx.TechnicianR, "PATCH", path, map[string]any{"count": 3}).want(400).names("/count")
	r.do(tx.TechnicianR, "PATCH", path, map[string]any{"tank_id": tank}).want(400).names("/tank_id")
	r.do(tx.Owner, "DELETE", path, nil).want(409)
	r.do(tx.Owner, "DELETE", "/v1/tanks/"+tank, nil).want(409)

	event := map[string]any{"id": newID().String(), "kind": "removal", "delta": -2, "day": "2026-03-02", "reason": "given away"}
	r.do(tx.Integration, "POST", path+"/events", event).want(201)
	r.do(tx.Integration, "POST", path+"/events", event).want(200)
	event["delta"] = -1
	r.do(tx.Integration, "POST", path+"/events", event).want(409).names("/id")
	now := r.do(tx.Viewer, "GET", path, nil, header("If-None-Match", patched.header.Get("ETag"))).want(200)
	if now.number("count") != 0 {
		t.Errorf("count %v", now.number("count"))
	}
	// An empty entry can still be described, and goes.
	r.do(tx.TechnicianR, "PATCH", path, map[string]any{"label": "the old pair"}).want(200)
	r.do(tx.Owner, "DELETE", path, nil).want(200)
	r.do(tx.Owner, "DELETE", "/v1/tanks/"+tank, nil).want(200)
}

func TestLivestockBadInput(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	others := r.send(r.stranger, "POST", "/v1/species", map[string]any{
		"scientific_name": "Discosoma sp.", "trade_name": "theirs", "group": "soft", "counting": "colony",
	}).want(201).text("id")
	for name, c := range map[string]struct {
		field   string
		value   any
		code    int
		pointer string
	}{
		"another's species":   {"species_id", others, 422, "/species_id"},
		"an unknown code":     {"species_id", "felis-catus", 422, "/species_id"},
		"no code at all":      {"species_id", "a b", 400, "/species_id"},
		"an unknown tank":     {"tank_id", newID().String(), 422, "/tank_id"},
		"none":                {"count", 0, 400, "/count"},
		"half an animal":      {"count", 1.5, 400, "/count"},
		"a day of no month":   {"arrived_on", "2026-02-30", 400, "/arrived_on"},
		"tomorrow":            {"arrived_on", "2026-03-03", 422, "/arrived_on"},
		"an unknown state":    {"state", "happy", 400, "/state"},
		"NUL":                 {"label", "a\x00b", 400, "/label"},
		"a field of another":  {"colour", "red", 400, "/colour"},
		"an id that is no id": {"id", "7", 400, "/id"},
	} {
		t.Log(name)
		body := map[string]any{"tank_id": tank, "species_id": "amphiprion-ocellaris", "count": 2}
		body[c.field] = c.value
		r.do(tx.TechnicianR, "POST", "/v1/livestock", body).want(c.code).names(c.pointer)
	}
	if got := r.do(tx.Viewer, "GET", "/v1/livestock", nil).want(200).items(); len(got) != 0 {
		t.Errorf("bad input made %v", got)
	}
	r.do(tx.Viewer, "POST", "/v1/livestock", map[string]any{"tank_id": tank, "species_id": "amphiprion-ocellaris", "count": 2}).want(403)
}

func TestLivestockEventsBadInput(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	path := "/v1/livestock/" + r.livestock(r.tank(r.site())) + "/events"
	for name, c := range map[string]struct {
		kind, day string
		delta     any
		code      int
		pointer   string
	}{
		"more than there are": {"death", "2026-03-02", -3, 422, "/delta"},
		"wrong way":           {"death", "2026-03-02", 1, 422, "/delta"},
		"nothing":             {"correction", "2026-03-02", 0, 422, "/delta"},
		"tomorrow":            {"birth", "2026-03-03", 1, 422, "/day"},
		"before they came":    {"birth", "2026-03-01", 1, 422, "/day"},
		"unknown kind":        {"escape", "2026-03-02", -1, 400, "/kind"},
		"not a number":        {"birth", "2026-03-02", "one", 400, "/delta"},
	} {
		t.Log(name)
		r.do(tx.TechnicianR, "POST", path, map[string]any{"kind": c.kind, "day": c.day, "delta": c.delta}).want(c.code).names(c.pointer)
	}
	death := map[string]any{"kind": "death", "delta": -1}
	r.send(r.stranger, "POST", path, death).want(404)
	r.send(r.stranger, "GET", path, nil).want(404)
	r.do(tx.Owner, "POST", "/v1/livestock/"+newID().String()+"/events", death).want(404)
	if got := r.do(tx.Viewer, "GET", path, nil).want(200).items(); len(got) != 1 {
		t.Errorf("bad input made events: %v", got)
	}
}

func TestLivestockList(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	one, two := r.tank(site), r.tank(site)
	own := r.species()
	a := r.livestock(one)
	b := r.livestock(one, with("species_id", own), with("state", "at_risk"))
	c := r.livestock(two)
	for query, want := range map[string][]any{
		"":                                 {a, b, c},
		"?tank_id=" + one:                  {a, b},
		"?species_id=amphiprion-ocellaris": {a, c},
		"?species_id=" + own:               {b},
		"?state=at_risk":                   {b},
		"?archived=true":                   nil,
	} {
		var got []any
		for _, it := range r.do(tx.Viewer, http.MethodGet, "/v1/livestock"+query, nil).want(200).items() {
			got = append(got, it["id"])
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%q (-want +got):\n%s", query, diff)
		}
	}
}

// A tank without care takes no animals, and a tank with animals gets no rest.
func TestPausedTankTakesNoAnimals(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	pause := r.added("/v1/pauses", map[string]any{"tank_id": tank, "from": "2026-03-02", "reason": "rebuilding"}, nil)
	body := map[string]any{"tank_id": tank, "species_id": "amphiprion-ocellaris", "count": 2}
	r.do(tx.Owner, "POST", "/v1/livestock", body).want(409).names("/tank_id")
	r.do(tx.Owner, "DELETE", "/v1/pauses/"+pause, nil).want(200)
	r.do(tx.Owner, "POST", "/v1/livestock", body).want(201)
	r.do(tx.Owner, "PATCH", "/v1/tanks/"+tank, map[string]any{"status": "paused"}).want(422).names("/status")
}
