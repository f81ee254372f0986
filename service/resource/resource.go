// Package resource is the one way in which every resource is created, changed
// and archived: client-made ids, versions, field names for the change log.
package resource

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"time"
	"unicode"

	"github.com/google/uuid"

	"tankward/service/fault"
	"tankward/service/tx"
)

// Meta is what every resource carries beside its fields.
type Meta struct {
	ID         uuid.UUID
	Version    int
	CreatedAt  time.Time
	UpdatedAt  time.Time
	ArchivedAt *time.Time
}

// Row is a resource as it is stored: F holds what a caller may set, and what
// the service derives from it.
type Row[F any] struct {
	Meta
	Fields F
}

// Store is what a transaction offers for one kind of resource. Every method is
// bound to the transaction's organisation: another organisation's row is not
// found.
type Store[F any] interface {
	// Insert adds the row unless its id is taken, and says whether it did.
	Insert(ctx context.Context, r Row[F], createHash [32]byte) (bool, error)
	// CreateHash gives the hash the row with this id was created from.
	CreateHash(ctx context.Context, id uuid.UUID) ([32]byte, error)
	// Load locks the row for an update and gives it; NotFound when there is none.
	Load(ctx context.Context, id uuid.UUID) (Row[F], error)
	// Save writes fields, version, times of a row that Load gave.
	Save(ctx context.Context, r Row[F]) error
}

// Page is one page of a list.
type Page[T any] struct {
	Items []T
	Next  string // opaque; empty on the last page
	Head  int64  // number of the organisation's last change, read before the list
}

// Paging asks for a page.
type Paging struct {
	After    string // Next of the page before, or empty
	Limit    int
	Archived bool // archived rows instead of those in use
}

// Created is the outcome of a create: New is false when the same request had
// created the row before.
type Created[F any] struct {
	Row Row[F]
	New bool
}

// IfMatch is the version a caller has seen; zero when it doesn't say.
type IfMatch int

// NeverWritten asks that the resource has no version yet.
const NeverWritten IfMatch = -1

// Misses says whether the caller has seen another version.
func (m IfMatch) Misses(version int) bool {
	return m != 0 && max(int(m), 0) != version
}

// Kind describes one kind of resource to the mechanism. T is the transaction
// that the capability sees.
type Kind[T, F any] struct {
	// Name stands in change entries and messages, such as "site".
	Name  string
	Run   tx.Runner[T]
	Store func(T) Store[F]
	// Place says to which site and tank a row belongs, for the change log.
	Place func(Row[F]) (site, tank uuid.UUID)
	// Lock takes the locks that stand before the row's own in the lock order,
	// before a patch or an archive loads it.
	Lock func(ctx context.Context, t T, id uuid.UUID) error
	// Prepare checks the new fields against what is stored and derives what is
	// derived; it takes the locks the change needs. old is nil on create.
	Prepare func(ctx context.Context, t T, old *Row[F], fields F, now time.Time) (F, error)
	// Follow carries out what follows from a saved change; old is nil on create.
	Follow func(ctx context.Context, t T, old *Row[F], saved Row[F], now time.Time) (tx.Trail, error)
	// MayArchive refuses to archive a row that is still needed.
	MayArchive func(ctx context.Context, t T, r Row[F]) error
	// Retire gives the fields of a row that goes out of use.
	Retire func(F) F
}

// Create adds a resource. The same id with the same content is the same
// request: the row is given as it is now.
func (k Kind[T, F]) Create(ctx context.Context, c tx.Call[Created[F]], id uuid.UUID, fields F) (tx.Outcome[Created[F]], error) {
	return tx.Do(ctx, k.Run, c, func(ctx context.Context, t T) (Created[F], tx.Trail, error) {
		return k.CreateIn(ctx, t, New[F]{ID: id, Fields: fields, Now: c.Now})
	})
}

// New is a resource to be created.
type New[F any] struct {
	ID     uuid.UUID
	Fields F // as the caller gave them, validated
	Now    time.Time
}

// CreateIn is Create inside a transaction that is already running.
func (k Kind[T, F]) CreateIn(ctx context.Context, t T, n New[F]) (Created[F], tx.Trail, error) {
	hash, err := Hash(n.Fields)
	if err != nil {
		return Created[F]{}, tx.Trail{}, err
	}
	if row, err := k.repeated(ctx, t, n.ID, hash); !fault.Is(err, fault.NotFound) {
		return Created[F]{Row: row}, tx.Trail{}, err
	}
	fields := n.Fields
	if k.Prepare != nil {
		if fields, err = k.Prepare(ctx, t, nil, fields, n.Now); err != nil {
			return Created[F]{}, tx.Trail{}, err
		}
	}
	row := Row[F]{Meta: Meta{ID: n.ID, Version: 1, CreatedAt: n.Now, UpdatedAt: n.Now}, Fields: fields}
	added, err := k.Store(t).Insert(ctx, row, hash)
	if err != nil {
		return Created[F]{}, tx.Trail{}, err
	}
	if !added {
		// Another request with this id was faster; perhaps it is the same one.
		return Created[F]{}, tx.Trail{}, tx.ErrAgain
	}
	trail := k.did("created", row, nil)
	if k.Follow != nil {
		more, err := k.Follow(ctx, t, nil, row, n.Now)
		if err != nil {
			return Created[F]{}, tx.Trail{}, err
		}
		trail.Add(more)
	}
	return Created[F]{Row: row, New: true}, trail, nil
}

// repeated gives the row when the id is taken by the very same request; NotFound
// when nothing was created under it.
func (k Kind[T, F]) repeated(ctx context.Context, t T, id uuid.UUID, hash [32]byte) (Row[F], error) {
	was, err := k.Store(t).CreateHash(ctx, id)
	if err != nil {
		return Row[F]{}, err
	}
	if was != hash {
		return Row[F]{}, idTaken(k.Name, id)
	}
	return k.Store(t).Load(ctx, id)
}

func idTaken(name string, id uuid.UUID) error {
	return fault.ConflictField("/id", "a %s with the id %s exists already with other content; leave id out or choose another", words(name), id)
}

// Patch changes a resource: change gets the fields as they are and gives them
// as they shall be. A change that changes nothing keeps the version.
func (k Kind[T, F]) Patch(ctx context.Context, c tx.Call[Row[F]], id uuid.UUID, match IfMatch, change func(F) (F, error)) (tx.Outcome[Row[F]], error) {
	return tx.Do(ctx, k.Run, c, func(ctx context.Context, t T) (Row[F], tx.Trail, error) {
		old, err := k.load(ctx, t, id)
		if err != nil {
			return Row[F]{}, tx.Trail{}, err
		}
		if err := k.mayChange(old.Meta, match); err != nil {
			return Row[F]{}, tx.Trail{}, err
		}
		fields, err := change(old.Fields)
		if err != nil {
			return Row[F]{}, tx.Trail{}, err
		}
		if k.Prepare != nil {
			if fields, err = k.Prepare(ctx, t, &old, fields, c.Now); err != nil {
				return Row[F]{}, tx.Trail{}, err
			}
		}
		row := old
		row.Fields = fields
		return k.save(ctx, t, old, row, c.Now)
	})
}

// Archive takes a resource out of use; its history stays.
func (k Kind[T, F]) Archive(ctx context.Context, c tx.Call[Row[F]], id uuid.UUID, match IfMatch) (tx.Outcome[Row[F]], error) {
	return tx.Do(ctx, k.Run, c, func(ctx context.Context, t T) (Row[F], tx.Trail, error) {
		old, err := k.load(ctx, t, id)
		if err != nil {
			return Row[F]{}, tx.Trail{}, err
		}
		if old.ArchivedAt != nil {
			return old, tx.Trail{}, nil
		}
		if err := k.mayChange(old.Meta, match); err != nil {
			return Row[F]{}, tx.Trail{}, err
		}
		if k.MayArchive != nil {
			if err := k.MayArchive(ctx, t, old); err != nil {
				return Row[F]{}, tx.Trail{}, err
			}
		}
		row := old
		row.ArchivedAt = &c.Now
		if k.Retire != nil {
			row.Fields = k.Retire(row.Fields)
		}
		return k.save(ctx, t, old, row, c.Now)
	})
}

func (k Kind[T, F]) load(ctx context.Context, t T, id uuid.UUID) (Row[F], error) {
	if k.Lock != nil {
		if err := k.Lock(ctx, t, id); err != nil {
			return Row[F]{}, err
		}
	}
	return k.Store(t).Load(ctx, id)
}

func (k Kind[T, F]) mayChange(m Meta, match IfMatch) error {
	if match.Misses(m.Version) {
		return fault.Stale(m.Version)
	}
	if m.ArchivedAt != nil {
		return fault.ConflictWith("This %s is archived and cannot be changed.", words(k.Name))
	}
	return nil
}

// save writes what was made of an old row, as its next version.
func (k Kind[T, F]) save(ctx context.Context, t T, old, row Row[F], now time.Time) (Row[F], tx.Trail, error) {
	changed, action := Diff(old.Fields, row.Fields), "changed"
	if row.ArchivedAt != nil {
		action = "archived"
	} else if len(changed) == 0 {
		return old, tx.Trail{}, nil
	}
	row.UpdatedAt = now
	row.Version++
	if err := k.Store(t).Save(ctx, row); err != nil {
		return Row[F]{}, tx.Trail{}, err
	}
	trail := k.did(action, row, changed)
	if k.Follow != nil {
		more, err := k.Follow(ctx, t, &old, row, now)
		if err != nil {
			return Row[F]{}, tx.Trail{}, err
		}
		trail.Add(more)
	}
	return row, trail, nil
}

func (k Kind[T, F]) did(action string, r Row[F], fields []string) tx.Trail {
	c := tx.Change{Resource: k.Name, Action: action, ID: r.ID, Fields: fields}
	if k.Place != nil {
		c.Site, c.Tank = k.Place(r)
	}
	return tx.Did(c)
}

// Hash gives the hash of validated create content.
func Hash[F any](fields F) ([32]byte, error) {
	b, err := json.Marshal(fields)
	if err != nil {
		return [32]byte{}, fmt.Errorf("hash the content: %w", err)
	}
	return sha256.Sum256(b), nil
}

// Diff names the fields in which two values differ, in snake case. A list that is
// empty and one that is not there say the same.
func Diff[F any](a, b F) []string {
	va, vb := reflect.ValueOf(a), reflect.ValueOf(b)
	var out []string
	for i := range va.NumField() {
		if !same(va.Field(i), vb.Field(i)) {
			out = append(out, snake(va.Type().Field(i).Name))
		}
	}
	return out
}

func same(a, b reflect.Value) bool {
	if a.Kind() == reflect.Slice && a.Len() == 0 && b.Len() == 0 {
		return true
	}
	return reflect.DeepEqual(a.Interface(), b.Interface())
}

func snake(name string) string {
	var b strings.Builder
	runes := []rune(name)
	for i, r := range runes {
		if unicode.IsUpper(r) && i > 0 && (!unicode.IsUpper(runes[i-1]) || i+1 < len(runes) && unicode.IsLower(runes[i+1])) {
			b.WriteByte('_')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

func words(name string) string { return strings.ReplaceAll(name, "_", " ") }
