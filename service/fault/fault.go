// Package fault is the closed set of errors that callers of the service can
// act on. Anything else is internal, and its text never leaves the process.
package fault

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// Class says what kind of mistake an error is.
type Class int

// The classes. Each has one HTTP status, chosen in package api.
const (
	Internal Class = iota
	BadRequest
	Unauthenticated
	Forbidden
	NotFound
	Conflict
	Precondition
	TooLarge
	Invalid
	Busy
	Unavailable
)

// Field names one part of the input and says what would be right.
type Field struct {
	Pointer string // RFC 6901 JSON pointer into the body, or the parameter's name
	Message string
}

// Error is a mistake with a sentence a person can act on.
type Error struct {
	Class      Class
	Detail     string
	Fields     []Field
	RetryAfter time.Duration
}

// Error gives the detail and the fields, for logs.
func (e *Error) Error() string {
	if len(e.Fields) == 0 {
		return e.Detail
	}
	parts := make([]string, len(e.Fields))
	for i, f := range e.Fields {
		parts[i] = f.Pointer + ": " + f.Message
	}
	return e.Detail + " (" + strings.Join(parts, "; ") + ")"
}

// As gives the fault inside err, or nil when err is internal.
func As(err error) *Error {
	f, _ := errors.AsType[*Error](err)
	return f
}

// Is says whether err is a fault of the class.
func Is(err error, c Class) bool {
	f := As(err)
	return f != nil && f.Class == c
}

// InvalidFields refuses input whose form is right and whose content is not.
func InvalidFields(fields ...Field) error {
	return &Error{Class: Invalid, Detail: "The request was understood, but it cannot be carried out as it is.", Fields: fields}
}

// InvalidField refuses one field.
func InvalidField(pointer, format string, args ...any) error {
	return InvalidFields(Field{Pointer: pointer, Message: fmt.Sprintf(format, args...)})
}

// Check gives nil when there are no fields to complain about.
func Check(fields []Field) error {
	if len(fields) == 0 {
		return nil
	}
	return InvalidFields(fields...)
}

// Malformed refuses input that cannot be read at all.
func Malformed(detail string, fields ...Field) error {
	return &Error{Class: BadRequest, Detail: detail, Fields: fields}
}

// NoSuch says that a resource does not exist for this caller.
func NoSuch(resource string, id fmt.Stringer) error {
	return &Error{Class: NotFound, Detail: fmt.Sprintf("There is no %s %s in this organisation.", resource, id)}
}

// ConflictWith says what the request clashes with.
func ConflictWith(format string, args ...any) error {
	return &Error{Class: Conflict, Detail: fmt.Sprintf(format, args...)}
}

// ConflictField says which field clashes with what is stored.
func ConflictField(pointer, format string, args ...any) error {
	return &Error{Class: Conflict, Detail: "The request clashes with what is stored.",
		Fields: []Field{{Pointer: pointer, Message: fmt.Sprintf(format, args...)}}}
}

// Stale says that the resource has changed since the caller read it.
func Stale(version int) error {
	return &Error{Class: Precondition, Detail: fmt.Sprintf(
		"The resource has changed since you read it: its ETag is now %q. Read it again, then repeat the change.", fmt.Sprint(version))}
}

// Denied says that the caller's role may not do this.
func Denied(format string, args ...any) error {
	return &Error{Class: Forbidden, Detail: fmt.Sprintf(format, args...)}
}

// Unknown says that the caller showed no key that is valid.
func Unknown(detail string) error {
	return &Error{Class: Unauthenticated, Detail: detail}
}

// InFlight says that the same request is being carried out right now.
func InFlight() error {
	return &Error{Class: Busy, RetryAfter: time.Second,
		Detail: "A request with this Idempotency-Key is being carried out right now. Repeat it in a moment to get its answer."}
}

// Overloaded says that the service cannot take the request now.
func Overloaded(detail string) error {
	return &Error{Class: Unavailable, RetryAfter: 2 * time.Second, Detail: detail}
}
