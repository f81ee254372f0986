package openapi_test

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/uuid"

	"tankward/openapi"
)

// load reads the contract once for all tests, with the format that the library
// leaves to its user.
var load = sync.OnceValues(func() (*openapi3.T, error) {
	openapi3.DefineStringFormatValidator("uuid", openapi3.NewCallbackValidator(uuid.Validate))
	return openapi3.NewLoader().LoadFromData(openapi.YAML)
})

func contract(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := load()
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// operation is one operation with its place.
type operation struct {
	*openapi3.Operation
	method, path string
	item         *openapi3.PathItem
}

func (o operation) String() string { return o.method + " " + o.path }

// public says whether the operation asks for no key.
func (o operation) public() bool { return o.Security != nil && len(*o.Security) == 0 }

func operations(doc *openapi3.T) []operation {
	var all []operation
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			all = append(all, operation{op, method, path, item})
		}
	}
	slices.SortFunc(all, func(a, b operation) int { return strings.Compare(a.path+a.method, b.path+b.method) })
	return all
}

func (o operation) roles() ([]string, error) {
	list, ok := o.Extensions["x-roles"].([]any)
	if !ok {
		return nil, errors.New("no x-roles")
	}
	var roles []string
	for _, r := range list {
		roles = append(roles, fmt.Sprint(r))
	}
	return roles, nil
}

func (o operation) takes(in, name string) bool {
	for _, p := range slices.Concat(o.Parameters, o.item.Parameters) {
		if p.Value.In == in && p.Value.Name == name {
			return true
		}
	}
	return false
}

func TestContractIsValid(t *testing.T) {
	t.Parallel()
	doc := contract(t)
	if err := doc.Validate(context.Background()); err != nil {
		t.Error(err)
	}
	if doc.OpenAPI != "3.0.3" {
		t.Errorf("version %s of OpenAPI: requests are validated several times faster against 3.0.3", doc.OpenAPI)
	}
	if n := len(operations(doc)); n < 80 {
		t.Errorf("only %d operations were found", n)
	}
}

var (
	lowerCamel = regexp.MustCompile(`^[a-z]+([A-Z][a-z]*)*$`)
	knownRoles = []string{"owner", "coordinator", "technician", "viewer", "integration"}
)

func TestOperationsAreDescribed(t *testing.T) {
	t.Parallel()
	doc := contract(t)
	seen := map[string]operation{}
	for _, op := range operations(doc) {
		if other, ok := seen[op.OperationID]; ok || !lowerCamel.MatchString(op.OperationID) {
			t.Errorf("%s: the id %q is malformed or taken by %s", op, op.OperationID, other)
		}
		seen[op.OperationID] = op
		if op.Summary == "" || strings.HasSuffix(op.Summary, ".") || len(op.Description) < 15 {
			t.Errorf("%s: summary %q, description %q", op, op.Summary, op.Description)
		}
		if len(op.Tags) != 1 || doc.Tags.Get(op.Tags[0]) == nil {
			t.Errorf("%s: tags %v, want one that is described", op, op.Tags)
		}
		for _, p := range slices.Concat(op.Parameters, op.item.Parameters) {
			if p.Value.Description == "" || p.Value.Example == nil {
				t.Errorf("%s: parameter %s without description or example", op, p.Value.Name)
			}
		}
	}
}

func TestRoles(t *testing.T) {
	t.Parallel()
	for _, op := range operations(contract(t)) {
		roles, err := op.roles()
		if err != nil {
			t.Errorf("%s: %v", op, err)
			continue
		}
		for i, r := range roles {
			if !slices.Contains(knownRoles, r) || slices.Contains(roles[:i], r) {
				t.Errorf("%s: role %q is unknown or named twice", op, r)
			}
		}
		if op.public() != (len(roles) == 0) {
			t.Errorf("%s: roles %v, but public is %t", op, roles, op.public())
		}
		if op.public() {
			continue
		}
		if !slices.Contains(roles, "owner") {
			t.Errorf("%s: an owner may do everything", op)
		}
		if op.method != "GET" && slices.Contains(roles, "viewer") {
			t.Errorf("%s: a viewer changes nothing", op)
		}
		secret := strings.HasSuffix(op.path, "/access-notes")
		if secret && (slices.Contains(roles, "viewer") || slices.Contains(roles, "integration")) {
			t.Errorf("%s: access notes are for those who go there", op)
		}
		people := slices.ContainsFunc([]string{"/v1/members", "/v1/access-keys", "/v1/organisation"}, func(p string) bool { return strings.HasPrefix(op.path, p) })
		if people && op.method != "GET" && len(roles) > 1 {
			t.Errorf("%s: roles %v, want owner only", op, roles)
		}
	}
}

func TestConventionsOfEachMethod(t *testing.T) {
	t.Parallel()
	for _, op := range operations(contract(t)) {
		get, guarded := op.method == "GET", slices.Contains([]string{"PATCH", "PUT", "DELETE"}, op.method)
		if op.takes("header", "Idempotency-Key") == get {
			t.Errorf("%s: Idempotency-Key belongs to every change and to no GET", op)
		}
		if guarded && !op.takes("header", "If-Match") {
			t.Errorf("%s: no If-Match", op)
		}
		if get && !op.public() && (!op.takes("header", "If-None-Match") || op.Responses.Value("304") == nil) {
			t.Errorf("%s: no If-None-Match, or no 304", op)
		}
		if get && op.takes("query", "cursor") != op.takes("query", "limit") {
			t.Errorf("%s: limit and cursor belong together", op)
		}
		if body := op.RequestBody; body != nil {
			for media := range body.Value.Content {
				if (media == "application/merge-patch+json") != (op.method == "PATCH") {
					t.Errorf("%s takes %s", op, media)
				}
			}
		}
		checkStatuses(t, op)
	}
}

func checkStatuses(t *testing.T, op operation) {
	t.Helper()
	if op.public() {
		return
	}
	want := []string{"400", "401", "403", "429", "500", "503"}
	if op.method != "GET" {
		want = append(want, "409", "422")
	}
	if op.takes("path", "id") {
		want = append(want, "404")
	}
	if op.takes("header", "If-Match") {
		want = append(want, "412")
	}
	if op.RequestBody != nil {
		want = append(want, "413")
	}
	for _, code := range want {
		if op.Responses.Value(code) == nil {
			t.Errorf("%s: no answer %s", op, code)
		}
	}
	for code, r := range op.Responses.Map() {
		if code[0] == '2' && op.Responses.Value(code).Value.Headers["ETag"] == nil {
			t.Errorf("%s: %s without ETag", op, code)
		}
		if code == "201" && op.OperationID != "applyReadySet" && r.Value.Headers["Location"] == nil {
			t.Errorf("%s: 201 without Location", op)
		}
		if code[0] == '2' && (op.method != "GET") != (r.Value.Headers["Idempotency-Replayed"] != nil) {
			t.Errorf("%s: %s and Idempotency-Replayed", op, code)
		}
	}
}

func TestListsHaveOneShape(t *testing.T) {
	t.Parallel()
	for name, ref := range contract(t).Components.Schemas {
		if !strings.HasSuffix(name, "List") {
			continue
		}
		s := ref.Value
		if s.Properties["items"] == nil || s.Properties["next"] == nil || len(s.Properties) != 2 || !slices.Equal(s.Required, []string{"items"}) {
			t.Errorf("%s is not {items, next}", name)
		}
	}
}

func TestProblems(t *testing.T) {
	t.Parallel()
	doc := contract(t)
	problem := doc.Components.Schemas["Problem"]
	for _, op := range operations(doc) {
		for code, r := range op.Responses.Map() {
			if code[0] != '4' && code[0] != '5' {
				continue
			}
			media := r.Value.Content["application/problem+json"]
			if media == nil || len(r.Value.Content) != 1 || media.Schema.Ref != "#/components/schemas/Problem" {
				t.Errorf("%s: %s is no problem document", op, code)
				continue
			}
			for name, ex := range media.Examples {
				checkProblem(t, problem.Value, code, fmt.Sprintf("%s: %s %s", op, code, name), ex.Value.Value)
			}
		}
	}
}

func checkProblem(t *testing.T, problem *openapi3.Schema, code, where string, example any) {
	t.Helper()
	body, ok := example.(map[string]any)
	if !ok {
		t.Errorf("%s: the example is %T", where, example)
		return
	}
	if status := fmt.Sprint(body["status"]); status != code {
		t.Errorf("%s: the example says %s", where, status)
	}
	if kind := fmt.Sprint(body["type"]); !strings.Contains(problem.Description, "`"+kind+"`") {
		t.Errorf("%s: %s is not among the described types", where, kind)
	}
	if _, err := strconv.Atoi(code); err != nil {
		t.Errorf("%s: no status", where)
	}
}
