package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"tankward/openapi"
	"tankward/service/fault"
	"tankward/service/tx"
)

// mergePatchType is the media type of RFC 7396.
const mergePatchType = "application/merge-patch+json"

func init() { //nolint:gochecknoinits // the library keeps formats and decoders in package variables
	openapi3.DefineStringFormatValidator("uuid", openapi3.NewCallbackValidator(func(s string) error {
		if id, err := uuid.Parse(s); err != nil || len(s) != 36 || id == uuid.Nil {
			return errors.New("must be a UUID such as 0197c3d2-7a50-7cc4-b3a2-5c1f7e0d9a10")
		}
		return nil
	}))
	openapi3.DefineStringFormatValidator("date", openapi3.NewCallbackValidator(func(s string) error {
		t, err := time.Parse(time.DateOnly, s)
		if err != nil {
			return fmt.Errorf("%q is not a date of the calendar; give one such as 2026-03-09", s)
		}
		return ofOurAge(t)
	}))
	openapi3.DefineStringFormatValidator("date-time", openapi3.NewCallbackValidator(func(s string) error {
		t, err := time.Parse(time.RFC3339, s)
		if err != nil {
			return fmt.Errorf("%q is not an instant; give one with its offset such as 2026-03-09T08:30:00Z", s)
		}
		return ofOurAge(t)
	}))
	openapi3filter.RegisterBodyDecoder(mergePatchType, openapi3filter.RegisteredBodyDecoder("application/json"))
}

// ofOurAge refuses slips such as 0206-03-09, and keeps every sum of days inside
// what can be stored.
func ofOurAge(t time.Time) error {
	if y := t.Year(); y < 1971 || y > 2199 {
		return fmt.Errorf("the year %d is not between 1971 and 2199", y)
	}
	return nil
}

// operation is what the contract says of one route.
type operation struct {
	route *routers.Route
	roles []tx.Role // empty: no key is needed
}

// contract answers, per route, what the OpenAPI document says.
type contract struct {
	doc        *openapi3.T
	tag        string                // strong ETag of the document
	operations map[string]*operation // by method and echo path
}

var pathParam = regexp.MustCompile(`\{([^}]+)\}`)

func echoPath(path string) string { return pathParam.ReplaceAllString(path, ":$1") }

// loadContract reads the embedded document.
func loadContract() (*contract, error) {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		return nil, fmt.Errorf("read the contract: %w", err)
	}
	sum := sha256.Sum256(openapi.YAML)
	c := &contract{doc: doc, tag: `"` + hex.EncodeToString(sum[:12]) + `"`, operations: map[string]*operation{}}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			roles, err := rolesOf(op)
			if err != nil {
				return nil, fmt.Errorf("%s %s: %w", method, path, err)
			}
			c.operations[method+" "+echoPath(path)] = &operation{
				route: &routers.Route{Spec: doc, Path: path, PathItem: item, Method: method, Operation: op},
				roles: roles,
			}
		}
	}
	return c, nil
}

// rolesOf reads x-roles; an operation without a security requirement has none.
func rolesOf(op *openapi3.Operation) ([]tx.Role, error) {
	if op.Security != nil && len(*op.Security) == 0 {
		return nil, nil
	}
	list, ok := op.Extensions["x-roles"].([]any)
	if !ok || len(list) == 0 {
		return nil, errors.New("the operation names no x-roles")
	}
	roles := make([]tx.Role, len(list))
	for i, r := range list {
		s, ok := r.(string)
		if !ok {
			return nil, fmt.Errorf("x-roles holds %v", r)
		}
		roles[i] = tx.Role(s)
	}
	return roles, nil
}

const operationKey = "tankward.operation"

// find puts the operation of the matched route into the context.
func (ct *contract) find(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if op := ct.operations[c.Request().Method+" "+c.Path()]; op != nil {
			c.Set(operationKey, op)
		}
		return next(c)
	}
}

func operationOf(c echo.Context) *operation {
	op, _ := c.Get(operationKey).(*operation)
	return op
}

// allow refuses roles that the contract does not list.
func allow(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		op := operationOf(c)
		if op == nil || len(op.roles) == 0 {
			return next(c)
		}
		if role := scopeOf(c).Role; !slices.Contains(op.roles, role) {
			names := make([]string, len(op.roles))
			for i, r := range op.roles {
				names[i] = string(r)
			}
			return fault.Denied("The role %s may not do this; it takes one of: %s.", role, strings.Join(names, ", "))
		}
		return next(c)
	}
}

// validate refuses requests that break the contract.
func (ct *contract) validate(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		op := operationOf(c)
		if op == nil {
			return next(c)
		}
		params := make(map[string]string, len(c.ParamNames()))
		for i, n := range c.ParamNames() {
			params[n] = c.ParamValues()[i]
		}
		err := openapi3filter.ValidateRequest(c.Request().Context(), &openapi3filter.RequestValidationInput{
			Request: c.Request(), PathParams: params, Route: op.route, Options: validation,
		})
		if err != nil {
			return explainViolation(err)
		}
		return next(c)
	}
}

var validation = &openapi3filter.Options{
	MultiError: true, SkipSettingDefaults: true, IncludeResponseStatus: true,
	AuthenticationFunc: func(context.Context, *openapi3filter.AuthenticationInput) error { return nil },
}

// explainViolation names each field that breaks the contract and says what
// would be right.
func explainViolation(err error) error {
	var fields []fault.Field
	gather(err, "", &fields)
	if len(fields) == 0 {
		fields = []fault.Field{{Message: "does not follow the contract at /openapi.yaml"}}
	}
	if tooLong(err) {
		return &fault.Error{Class: fault.TooLarge, Detail: tooLongDetail}
	}
	return fault.Malformed("The request does not follow the contract.", fields...)
}

const tooLongDetail = "The body is over 1 MiB. Send it in several requests."

// tooLong says that the body was cut off at its limit. The library keeps the
// reader's error where errors.Is does not look.
func tooLong(err error) bool {
	if all, ok := err.(openapi3.MultiError); ok { //nolint:errorlint // walks a tree of the library's own types
		return slices.ContainsFunc(all, tooLong)
	}
	if e, ok := errors.AsType[*openapi3filter.RequestError](err); ok && e.Err != nil {
		err = e.Err
	}
	if e, ok := errors.AsType[*openapi3filter.ParseError](err); ok && e.Cause != nil {
		err = e.Cause
	}
	e, ok := errors.AsType[*echo.HTTPError](err)
	return ok && e.Code == http.StatusRequestEntityTooLarge
}

func gather(err error, where string, out *[]fault.Field) {
	switch e := err.(type) { //nolint:errorlint // walks a tree of the library's own types
	case openapi3.MultiError:
		for _, one := range e {
			gather(one, where, out)
		}
	case *openapi3filter.RequestError:
		if e.Parameter != nil {
			where = e.Parameter.Name
		}
		if e.Err == nil {
			*out = append(*out, fault.Field{Pointer: where, Message: e.Reason})
			return
		}
		gather(e.Err, where, out)
	case *openapi3.SchemaError:
		gatherSchema(e, where, out)
	case *openapi3filter.ParseError:
		*out = append(*out, fault.Field{Pointer: where + pointerOf(e.Path()), Message: parseMessage(e)})
	default:
		*out = append(*out, fault.Field{Pointer: where, Message: plain(err.Error())})
	}
}

func gatherSchema(e *openapi3.SchemaError, where string, out *[]fault.Field) {
	if e.SchemaField == "oneOf" {
		gather(ofItsType(e), where, out)
		return
	}
	pointer := where
	if p := e.JSONPointer(); len(p) > 0 {
		pointer += "/" + strings.Join(p, "/")
	}
	if e.SchemaField == "required" || e.SchemaField == "properties" {
		// The library points at the object; the field's name stands in the reason.
		if m := quotedName.FindStringSubmatch(e.Reason); m != nil && !strings.HasSuffix(pointer, "/"+m[1]) {
			pointer += "/" + m[1]
		}
	}
	*out = append(*out, fault.Field{Pointer: pointer, Message: schemaMessage(e)})
}

// ofItsType asks the alternative that is of the type that was sent again: of one
// record or many the library says only that neither fits.
func ofItsType(e *openapi3.SchemaError) error {
	kind := "object"
	if _, ok := e.Value.([]any); ok {
		kind = "array"
	}
	for _, one := range e.Schema.OneOf {
		if one.Value.Type.Is(kind) {
			return visit(one.Value, e.Value)
		}
	}
	return errors.New(e.Reason)
}

// visit checks a value against a schema as the middleware does.
func visit(s *openapi3.Schema, v any) error {
	return s.VisitJSON(v, openapi3.VisitAsRequest(), openapi3.EnableFormatValidation(), openapi3.MultiErrors())
}

// checkCreate checks what a merge patch gave against the create body of the
// collection at path.
func (ct *contract) checkCreate(path string, merged any) error {
	op := ct.operations[http.MethodPost+" "+path]
	if op == nil {
		return nil
	}
	media := op.route.Operation.RequestBody.Value.Content.Get("application/json")
	if err := visit(media.Schema.Value, merged); err != nil {
		return explainViolation(err)
	}
	return nil
}

var quotedName = regexp.MustCompile(`property "([^"]+)"`)

func schemaMessage(e *openapi3.SchemaError) string {
	if e.Schema != nil && (e.SchemaField == "pattern" || e.SchemaField == "format") {
		if right, ok := e.Schema.Extensions["x-right"].(string); ok {
			return right
		}
	}
	switch e.SchemaField {
	case "required":
		return "is needed"
	case "properties":
		return "is not a field of this request; leave it out"
	case "type":
		if e.Schema != nil && e.Schema.Type != nil {
			return "must be of type " + strings.Join(e.Schema.Type.Slice(), " or ")
		}
	case "nullable":
		return "cannot be null"
	case "enum":
		if e.Schema != nil {
			return fmt.Sprintf("must be one of %v", e.Schema.Enum)
		}
	}
	return plain(e.Reason)
}

func parseMessage(e *openapi3filter.ParseError) string {
	if e.Kind == openapi3filter.KindInvalidFormat && e.Cause != nil {
		return "cannot be read: " + plain(e.Cause.Error())
	}
	return "cannot be read: " + plain(e.Error())
}

func pointerOf(path []any) string {
	var b strings.Builder
	for _, p := range path {
		fmt.Fprintf(&b, "/%v", p)
	}
	return b.String()
}

// plain keeps a library's reason to one line of a readable length.
func plain(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	if len(s) > 300 {
		s = s[:300] + "…"
	}
	return s
}
