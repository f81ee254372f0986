package openapi_test

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

func TestExamplesFollowTheirSchemas(t *testing.T) {
	t.Parallel()
	for _, op := range operations(contract(t)) {
		if op.RequestBody != nil {
			for media, content := range op.RequestBody.Value.Content {
				if content.Schema.Value.Example == nil && len(content.Examples) == 0 {
					t.Errorf("%s: the body has no example", op)
				}
				checkExamples(t, op.String()+" "+media, content, openapi3.VisitAsRequest())
			}
		}
		for code, r := range op.Responses.Map() {
			for media, content := range r.Value.Content {
				where := op.String() + " " + code
				if strings.HasSuffix(media, "json") && len(content.Examples) == 0 && content.Schema.Value.Example == nil {
					t.Errorf("%s: no example", where)
				}
				checkExamples(t, where, content, openapi3.VisitAsResponse())
			}
		}
	}
}

func checkExamples(t *testing.T, where string, content *openapi3.MediaType, as openapi3.SchemaValidationOption) {
	t.Helper()
	all := map[string]any{}
	if content.Schema.Value.Example != nil {
		all["schema"] = content.Schema.Value.Example
	}
	for name, ex := range content.Examples {
		all[name] = ex.Value.Value
	}
	for name, value := range all {
		if err := content.Schema.Value.VisitJSON(value, as, openapi3.EnableFormatValidation(), openapi3.MultiErrors()); err != nil {
			t.Errorf("%s, example %s: %v", where, name, err)
		}
	}
}

// TestRequests tries bodies as they come over the wire, through the library that
// guards the service.
func TestRequests(t *testing.T) {
	t.Parallel()
	const record = `{"tank_id":"0195f1c0-0007-7000-8000-000000000007","work_kind":"glass_cleaning","result":"done"}`
	tests := map[string]struct {
		id, body string
		bad      string // the fields that the refusal names; empty: taken
	}{
		"one record":                  {"recordWork", record, ""},
		"several records":             {"recordWork", "[" + record + "," + record + "]", ""},
		"no records":                  {"recordWork", "[]", "/"},
		"a record with a wrong word":  {"recordWork", strings.Replace(record, "done", "forgotten", 1), "/result"},
		"an array with one bad":       {"recordWork", "[" + record + "," + strings.Replace(record, "done", "forgotten", 1) + "]", "/1/result"},
		"a number as a record":        {"recordWork", "7", "/"},
		"101 records":                 {"recordWork", "[" + strings.Repeat(record+",", 100) + record + "]", "/"},
		"a customer":                  {"createCustomer", `{"name":"Quayside"}`, ""},
		"a customer without name":     {"createCustomer", `{"note":"x"}`, "/name"},
		"a blank name":                {"createCustomer", `{"name":"  "}`, "/name"},
		"an unknown field":            {"createCustomer", `{"name":"x","colour":"red"}`, "/colour"},
		"NUL in a note":               {"createCustomer", `{"name":"x","note":"a\u0000b"}`, "/note"},
		"NUL in a name":               {"createCustomer", `{"name":"a\u0000b"}`, "/name"},
		"lines in a note":             {"createCustomer", `{"name":"x","note":"a\nb"}`, ""},
		"a client's id":               {"createCustomer", `{"id":"0195f1c0-0004-7000-8000-000000000004","name":"x"}`, ""},
		"an id that is none":          {"createCustomer", `{"id":"4","name":"x"}`, "/id"},
		"a day that is none":          {"createClosure", `{"from":"2026-02-30","to":"2026-03-01"}`, "/from"},
		"a month that is none":        {"createRoutine", routine(`"active_months":[13]`), "/active_months/0"},
		"a tolerance below zero":      {"createRoutine", routine(`"days_late":-1`), "/days_late"},
		"a routine":                   {"createRoutine", routine(`"days_late":1`), ""},
		"a point with three numbers":  {"createSite", site("[1,2,3]", "[]"), "/position/coordinates"},
		"a longitude out of range":    {"createSite", site("[181,2]", "[]"), "/position/coordinates/0"},
		"a site open to midnight":     {"createSite", site("[1,2]", `[{"weekday":"monday","from":"00:00","to":"24:00"}]`), ""},
		"a site that opens at 24:00":  {"createSite", site("[1,2]", `[{"weekday":"monday","from":"24:00","to":"24:00"}]`), "/access_windows/0/from"},
		"a negative sump":             {"createTank", `{"site_id":"0195f1c0-0005-7000-8000-000000000005","name":"x","kind":"pond","shape":{"form":"stated","stated_l":9},"sump_l":-1}`, "/sump_l"},
		"a patch that takes away":     {"patchSite", `{"customer_id":null,"address":null,"access_windows":null}`, ""},
		"a patch of part of a place":  {"patchSite", `{"position":{"coordinates":[1,2]},"address":{"city":null}}`, ""},
		"a patch of what is needed":   {"patchSite", `{"time_zone":null}`, "/time_zone"},
		"a patch of nothing":          {"patchSite", `{}`, "/"},
		"a patch of another cadence":  {"patchRoutine", `{"cadence":{"kind":"calendar","rule":"FREQ=WEEKLY;BYDAY=MO","every":null,"unit":null,"gap":null}}`, ""},
		"a patch of what is fixed":    {"patchRoutine", `{"first_day":"2026-03-02"}`, "/first_day"},
		"a start without a body":      {"startVisit", "", ""},
		"a start at an instant":       {"startVisit", `{"at":"2026-03-09T08:30:00+01:00"}`, ""},
		"a start at a day":            {"startVisit", `{"at":"2026-03-09"}`, "/at"},
		"a material without quantity": {"createRoutine", routine(`"materials":[{"material":"food","quantity":0,"unit":"g"}]`), "/materials/0/quantity"},
	}
	for name, tc := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var got []string
			if err := send(t, tc.id, tc.body); err != nil {
				got = named(err, "")
			}
			if diff := gocmp.Diff(strings.Fields(tc.bad), got, cmpopts.EquateEmpty()); diff != "" {
				t.Errorf("fields that are wrong (-want +got):\n%s", diff)
			}
		})
	}
}

// named lists the fields that a refusal names, as pointers into the body or
// names of parameters.
func named(err error, where string) []string {
	switch e := err.(type) { //nolint:errorlint // walks a tree of the library's own types
	case openapi3.MultiError:
		var all []string
		for _, one := range e {
			all = append(all, named(one, where)...)
		}
		return all
	case *openapi3filter.RequestError:
		if e.Parameter != nil {
			where = e.Parameter.Name
		}
		return named(e.Err, where)
	case *openapi3.SchemaError:
		if e.SchemaField == "oneOf" {
			return named(byKind(e), where)
		}
		for _, token := range e.JSONPointer() {
			where += "/" + token
		}
		if m := unknownField.FindStringSubmatch(e.Reason); m != nil {
			where += "/" + m[1]
		}
		return []string{cmp.Or(where, "/")}
	}
	return []string{err.Error()}
}

var unknownField = regexp.MustCompile(`property "([^"]+)" is unsupported`)

// byKind asks again the alternative that is of the kind that was sent: the
// library says of one record or many only that none fits.
func byKind(e *openapi3.SchemaError) error {
	kind := "object"
	if _, ok := e.Value.([]any); ok {
		kind = "array"
	}
	for _, one := range e.Schema.OneOf {
		if one.Value.Type.Is(kind) {
			return one.Value.VisitJSON(e.Value, openapi3.VisitAsRequest(), openapi3.EnableFormatValidation(), openapi3.MultiErrors())
		}
	}
	return e
}

func routine(more string) string {
	return `{"tank_id":"0195f1c0-0007-7000-8000-000000000007","name":"x","work_kind":"feeding","consequence_class":"upkeep",` +
		`"active_minutes":3,"performed_by":"keeper","cadence":{"kind":"interval","every":7,"unit":"day"},` + more + `}`
}

func site(coordinates, windows string) string {
	return `{"name":"x","position":{"type":"Point","coordinates":` + coordinates + `},"time_zone":"Europe/Lisbon","water_mode":"none","access_windows":` + windows + `}`
}

// send validates a request for the operation as the service does.
func send(t *testing.T, id, body string) error {
	t.Helper()
	doc := contract(t)
	for _, op := range operations(doc) {
		if op.OperationID != id {
			continue
		}
		media := "application/json"
		if op.method == http.MethodPatch {
			media = "application/merge-patch+json"
		}
		path := strings.ReplaceAll(op.path, "{id}", "0195f1c0-0001-7000-8000-000000000001")
		req, err := http.NewRequestWithContext(context.Background(), op.method, path, bytes.NewBufferString(body))
		if err != nil {
			t.Fatal(err)
		}
		if body != "" {
			req.Header.Set("Content-Type", media)
			if !json.Valid([]byte(body)) {
				t.Fatalf("the test's body is no JSON: %s", body)
			}
		}
		return openapi3filter.ValidateRequest(req.Context(), &openapi3filter.RequestValidationInput{
			Request: req, PathParams: map[string]string{"id": "0195f1c0-0001-7000-8000-000000000001"},
			Route:   &routers.Route{Spec: doc, Path: op.path, PathItem: op.item, Method: op.method, Operation: op.Operation},
			Options: &openapi3filter.Options{MultiError: true, SkipSettingDefaults: true, AuthenticationFunc: openapi3filter.NoopAuthenticationFunc},
		})
	}
	t.Fatalf("there is no operation %s", id)
	return nil
}
