// Package tx holds what every command shares: who calls, what it changed, the
// answer that is kept for a repeat, and the transaction it runs in.
package tx

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
)

// Role is what a member may do in an organisation.
type Role string

// The roles.
const (
	Owner       Role = "owner"
	Coordinator Role = "coordinator"
	TechnicianR Role = "technician"
	Viewer      Role = "viewer"
	Integration Role = "integration"
)

// Scope says for which organisation a call acts, and for whom. Every read and
// every command is bound to exactly one organisation.
type Scope struct {
	Org     uuid.UUID
	Actor   uuid.UUID // the member; Nil for the service itself
	Role    Role
	Request string // request id, kept with the audit entry
}

// Change is one entry of the organisation's change log.
type Change struct {
	Resource string // such as "site"
	Action   string // such as "created"
	ID       uuid.UUID
	Site     uuid.UUID // Nil when the change belongs to no site
	Tank     uuid.UUID // Nil when the change belongs to no tank
	Fields   []string  // names only, never values
}

// Audit says which command was carried out on what. It holds ids and field
// names, no personal values.
type Audit struct {
	Command  string // such as "site.archive"
	Resource string
	ID       uuid.UUID
	Fields   []string
	Reason   string
}

// Job is work to be put into the queue with the transaction.
type Job struct {
	Kind string
	Args any
}

// Trail is what a command leaves behind beside its rows.
type Trail struct {
	Changes []Change
	Audit   []Audit
	Jobs    []Job
}

// Add appends another trail, for commands made of several.
func (t *Trail) Add(o Trail) {
	t.Changes = append(t.Changes, o.Changes...)
	t.Audit = append(t.Audit, o.Audit...)
	t.Jobs = append(t.Jobs, o.Jobs...)
}

// Did makes the trail of a command that changed one resource.
func Did(c Change) Trail {
	return Trail{
		Changes: []Change{c},
		Audit:   []Audit{{Command: c.Resource + "." + c.Action, Resource: c.Resource, ID: c.ID, Fields: c.Fields}},
	}
}

// Answer is the encoded outcome of a command; it is stored with the effect and
// given again when the same request is repeated.
type Answer struct {
	Status   int
	ETag     string
	Location string
	Body     []byte
}

// Runner runs a function in one transaction bound to one organisation. The
// function may be run more than once and must only change what T offers.
// With an empty key no answer is kept. When a committed answer for the key
// exists it is returned with repeated = true and the function is not run.
type Runner[T any] interface {
	InTx(ctx context.Context, s Scope, key string, fingerprint [32]byte,
		f func(context.Context, T) (Trail, Answer, error)) (answer Answer, repeated bool, err error)
}

// ErrAgain asks the runner to run a command again from its beginning, since
// another one was faster.
var ErrAgain = errors.New("another command was faster")

// Call is a command's envelope: who calls, the key under which a repeat is
// recognised, and how its result becomes an answer. Now is read once, before
// the transaction, which may be retried.
type Call[R any] struct {
	Scope       Scope
	Key         string
	Fingerprint [32]byte
	Now         time.Time
	Encode      func(R) (Answer, error)
}

// Outcome is what a command gives back: its result, unless it was repeated,
// and the answer.
type Outcome[R any] struct {
	Result   R
	Answer   Answer
	Repeated bool
}

// Do runs a command in a transaction and encodes its result inside it, so that
// the stored answer and the effect are one.
func Do[T, R any](ctx context.Context, r Runner[T], c Call[R],
	f func(context.Context, T) (R, Trail, error),
) (Outcome[R], error) {
	var out Outcome[R]
	answer, repeated, err := r.InTx(ctx, c.Scope, c.Key, c.Fingerprint,
		func(ctx context.Context, t T) (Trail, Answer, error) {
			res, trail, err := f(ctx, t)
			if err != nil {
				return Trail{}, Answer{}, err
			}
			out.Result = res
			if c.Encode == nil {
				return trail, Answer{}, nil
			}
			a, err := c.Encode(res)
			if err != nil {
				return Trail{}, Answer{}, fmt.Errorf("encode answer: %w", err)
			}
			return trail, a, nil
		})
	if err != nil {
		return Outcome[R]{}, err
	}
	out.Answer, out.Repeated = answer, repeated
	return out, nil
}
