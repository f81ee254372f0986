package api_test

import (
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"tankward/openapi"
	"tankward/service/tx"
)

var allRoles = []tx.Role{tx.Owner, tx.Coordinator, tx.TechnicianR, tx.Viewer, tx.Integration}

var pathParam = regexp.MustCompile(`\{[^}]+\}`)

// Every operation × role: who is listed gets past the door, who isn't gets 403,
// nobody without a key gets in. The ids belong to nothing, so nothing is changed.
func TestEveryOperationAndRole(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		t.Fatal(err)
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			target := pathParam.ReplaceAllString(path, newID().String())
			public := op.Security != nil && len(*op.Security) == 0
			if got := r.send("", method, target, nil).code; (got == http.StatusUnauthorized) == public {
				t.Errorf("%s %s without a key: %d", method, path, got)
			}
			if public {
				continue
			}
			for _, role := range allRoles {
				listed := slices.Contains(rolesOf(t, op), role)
				if got := r.do(role, method, target, emptyBody(method)).code; (got == http.StatusForbidden) == listed {
					t.Errorf("%s %s as %s: %d, and x-roles lists it: %v", method, path, role, got, listed)
				}
			}
		}
	}
}

func emptyBody(method string) any {
	if method == http.MethodGet || method == http.MethodDelete {
		return nil
	}
	return "{}"
}

func rolesOf(t *testing.T, op *openapi3.Operation) []tx.Role {
	t.Helper()
	var out []tx.Role
	for _, r := range op.Extensions["x-roles"].([]any) {
		out = append(out, tx.Role(r.(string)))
	}
	return out
}

func TestKeys(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	for _, key := range []string{"", "nonsense", "tw_" + strings.Repeat("a", 43)} {
		a := r.send(key, "GET", "/v1/sites", nil).want(401)
		if a.header.Get("WWW-Authenticate") == "" {
			t.Error("no WWW-Authenticate")
		}
	}
	made := r.do(tx.Owner, "POST", "/v1/access-keys", map[string]any{"member_id": r.ids[tx.Viewer], "label": "tablet"}).want(201)
	secret := made.text("secret")
	r.send(secret, "GET", "/v1/me", nil).want(200)
	r.do(tx.Owner, "DELETE", "/v1/access-keys/"+made.text("id"), nil).want(200)
	r.send(secret, "GET", "/v1/me", nil).want(401)
}

// The same request under the same key is carried out once; its answer comes
// again, without a secret.
func TestIdempotency(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	body := map[string]any{"name": "Marina Bistro"}
	key := header("Idempotency-Key", "one")
	first := r.do(tx.Owner, "POST", "/v1/customers", body, key).want(201)
	again := r.do(tx.Owner, "POST", "/v1/customers", body, key).want(201)
	if string(first.raw) != string(again.raw) || again.header.Get("Idempotency-Replayed") != "true" {
		t.Errorf("repeat: %s", again.raw)
	}
	if first.header.Get("Etag") != again.header.Get("Etag") || first.header.Get("Location") != again.header.Get("Location") {
		t.Error("the repeat has other headers")
	}
	r.do(tx.Owner, "POST", "/v1/customers", map[string]any{"name": "Other"}, key).want(422).names("Idempotency-Key")
	if n := len(r.do(tx.Owner, "GET", "/v1/customers", nil).want(200).items()); n != 1 {
		t.Errorf("%d customers", n)
	}
	r.do(tx.Coordinator, "POST", "/v1/customers", body, key).want(201)

	secret := map[string]any{"member_id": r.ids[tx.Viewer], "label": "tablet"}
	if r.do(tx.Owner, "POST", "/v1/access-keys", secret, header("Idempotency-Key", "two")).want(201).text("secret") == "" {
		t.Error("no secret the first time")
	}
	repeat := r.do(tx.Owner, "POST", "/v1/access-keys", secret, header("Idempotency-Key", "two")).want(201)
	if repeat.body["secret"] != nil || repeat.body["secret_note"] == nil {
		t.Errorf("the repeat shows a secret: %s", repeat.raw)
	}

	// A refusal is not kept: the same key works once the reason is gone.
	wrong := header("Idempotency-Key", "three")
	r.do(tx.Owner, "POST", "/v1/customers", map[string]any{"name": ""}, wrong)
	r.do(tx.Owner, "POST", "/v1/customers", map[string]any{"name": "Fine"}, wrong).want(201)
}

func TestClientMadeIDs(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	id := newID().String()
	body := map[string]any{"id": id, "name": "Marina Bistro"}
	r.do(tx.Owner, "POST", "/v1/customers", body).want(201)
	r.do(tx.Owner, "PATCH", "/v1/customers/"+id, map[string]any{"phone": "123"}).want(200)
	if again := r.do(tx.Owner, "POST", "/v1/customers", body).want(200); again.body["phone"] != "123" {
		t.Errorf("the repeat isn't as it is now: %s", again.raw)
	}
	r.do(tx.Owner, "POST", "/v1/customers", map[string]any{"id": id, "name": "Other"}).want(409).names("/id")
	r.send(r.stranger, "POST", "/v1/customers", body).want(201)
}

func TestConditionalRequests(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	path := "/v1/sites/" + r.site()
	tag := r.do(tx.Viewer, "GET", path, nil).want(200).header.Get("Etag")
	r.do(tx.Viewer, "GET", path, nil, header("If-None-Match", tag)).want(304)
	r.do(tx.Owner, "PATCH", path, map[string]any{"name": "New name"}, header("If-Match", `"7"`)).want(412)
	r.do(tx.Owner, "PATCH", path, map[string]any{"name": "New name"}, header("If-Match", "seven")).want(400)
	changed := r.do(tx.Owner, "PATCH", path, map[string]any{"name": "New name"}, header("If-Match", tag)).want(200)
	if changed.header.Get("Etag") != `"2"` {
		t.Errorf("etag %s", changed.header.Get("Etag"))
	}
	if same := r.do(tx.Owner, "PATCH", path, map[string]any{"name": "New name"}).want(200); same.header.Get("Etag") != `"2"` {
		t.Error("a patch that changes nothing made a new version")
	}
	r.do(tx.Owner, "DELETE", path, nil, header("If-Match", tag)).want(412)

	list := r.do(tx.Viewer, "GET", "/v1/sites", nil).want(200).header.Get("Etag")
	r.do(tx.Viewer, "GET", "/v1/sites", nil, header("If-None-Match", list)).want(304)
	r.do(tx.Owner, "GET", "/v1/sites", nil, header("If-None-Match", list)).want(200)
	r.do(tx.Owner, "PATCH", path, map[string]any{"name": "Third"}).want(200)
	r.do(tx.Viewer, "GET", "/v1/sites", nil, header("If-None-Match", list)).want(200)
}

func TestPages(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	for i := range 5 {
		r.do(tx.Owner, "POST", "/v1/customers", map[string]any{"name": fmt.Sprint("Customer ", i)}).want(201)
	}
	var names []string
	target := "/v1/customers?limit=2"
	for pages := 0; target != ""; pages++ {
		if pages > 5 {
			t.Fatal("no end")
		}
		a := r.do(tx.Viewer, "GET", target, nil).want(200)
		for _, it := range a.items() {
			names = append(names, it["name"].(string))
		}
		link := a.header.Get("Link")
		target = ""
		if link != "" {
			target = link[1:strings.Index(link, ">")]
		}
	}
	if want := []string{"Customer 0", "Customer 1", "Customer 2", "Customer 3", "Customer 4"}; !slices.Equal(names, want) {
		t.Errorf("got %v", names)
	}
	r.do(tx.Viewer, "GET", "/v1/customers?cursor=zzz", nil).want(400).names("cursor")
	r.do(tx.Viewer, "GET", "/v1/customers?limit=501", nil).want(400).names("limit")
}

func TestArchive(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	tank := r.tank(site)
	r.routine(tank)
	r.do(tx.Owner, "DELETE", "/v1/sites/"+site, nil).want(409)
	r.do(tx.Owner, "DELETE", "/v1/tanks/"+tank, nil).want(200)
	if got := r.dueOf(tank); len(got) != 0 {
		t.Errorf("an archived tank has due work: %v", got)
	}
	gone := r.do(tx.Owner, "DELETE", "/v1/sites/"+site, nil).want(200)
	if gone.body["archived_at"] == nil {
		t.Errorf("not archived: %s", gone.raw)
	}
	r.do(tx.Owner, "DELETE", "/v1/sites/"+site, nil).want(200)
	r.do(tx.Owner, "PATCH", "/v1/sites/"+site, map[string]any{"name": "x"}).want(409)
	if n := len(r.do(tx.Owner, "GET", "/v1/sites", nil).items()); n != 0 {
		t.Errorf("%d sites in use", n)
	}
	if n := len(r.do(tx.Owner, "GET", "/v1/sites?archived=true", nil).items()); n != 1 {
		t.Errorf("%d archived sites", n)
	}
}

// Another organisation's rows are not found, whatever is asked of them.
func TestForeignRowsAreNotFound(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	tank := r.tank(site)
	routine := r.routine(tank)
	record := r.do(tx.Owner, "POST", "/v1/work-records", map[string]any{"routine_id": routine, "result": "done"}).want(201).text("id")
	for _, path := range []string{
		"/v1/sites/" + site, "/v1/sites/" + site + "/access-notes", "/v1/tanks/" + tank, "/v1/tanks/" + tank + "/due-work",
		"/v1/tanks/" + tank + "/readings", "/v1/routines/" + routine, "/v1/routines/" + routine + "/revisions",
		"/v1/work-records/" + record, "/v1/members/" + r.ids[tx.Viewer].String(),
	} {
		r.send(r.stranger, "GET", path, nil).want(404)
	}
	r.send(r.stranger, "PATCH", "/v1/sites/"+site, map[string]any{"name": "mine"}).want(404)
	r.send(r.stranger, "DELETE", "/v1/tanks/"+tank, nil).want(404)
	r.send(r.stranger, "POST", "/v1/work-records/"+record+"/void", map[string]any{"reason": "no"}).want(404)
	r.send(r.stranger, "POST", "/v1/work-records", map[string]any{"routine_id": routine, "result": "done"}).want(422).names("/routine_id")
	for _, list := range []string{"/v1/sites", "/v1/tanks", "/v1/routines", "/v1/due-work", "/v1/work-records", "/v1/closures"} {
		if n := len(r.send(r.stranger, "GET", list, nil).want(200).items()); n != 0 {
			t.Errorf("%s shows %d rows of another organisation", list, n)
		}
	}
}
