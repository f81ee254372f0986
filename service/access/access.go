// Package access says who belongs to an organisation, in which role, and with
// which keys they call the service.
package access

import (
	"context"
	"io"
	"log/slog"
	"time"

	"github.com/google/uuid"

	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// Tx is what commands of this package load and save. Everything is bound to the
// transaction's organisation: what belongs to another is not found.
type Tx interface {
	// Members gives the store of members. Loading a member takes the lock that
	// guards its keys.
	Members() resource.Store[MemberFields]
	// MemberRole gives a member's role without locking it; NotFound when there
	// is no such member.
	MemberRole(ctx context.Context, id uuid.UUID) (tx.Role, error)
	// OtherOwners counts the owners in use beside one member. The caller holds
	// the organisation's lock, so that no other transaction takes one away.
	OtherOwners(ctx context.Context, beside uuid.UUID) (int, error)
	// AccessKeys gives the store of keys. Saving a revoked key also shuts the
	// hash by which its secret is found.
	AccessKeys() resource.Store[KeyFields]
	// OpenKey makes a stored key's secret valid; only its hash is kept.
	OpenKey(ctx context.Context, key AccessKey, secretHash [32]byte) error
	// RevokeKeysOf revokes every key of a member and gives their ids; none when
	// all were revoked before. The caller holds the member's lock.
	RevokeKeysOf(ctx context.Context, member uuid.UUID, at time.Time) ([]uuid.UUID, error)
	// LoadOrganisation locks the organisation and gives it.
	LoadOrganisation(ctx context.Context) (fleet.Organisation, error)
	// InsertOrganisation adds the organisation the transaction is bound to, and
	// its entry in the directory; Conflict when it exists.
	InsertOrganisation(ctx context.Context, o fleet.Organisation) error
}

// Reads is what this package reads outside of commands. All but KeyHolder are
// bound to the scope's organisation.
type Reads interface {
	// Member gives one member, archived or not; NotFound when there is none.
	Member(ctx context.Context, s tx.Scope, id uuid.UUID) (Member, error)
	// Members lists members by id.
	Members(ctx context.Context, s tx.Scope, f MemberFilter, p resource.Paging) (resource.Page[Member], error)
	// AccessKey gives one key, revoked or not; NotFound when there is none.
	AccessKey(ctx context.Context, s tx.Scope, id uuid.UUID) (AccessKey, error)
	// AccessKeys lists keys by id; with a member only that member's.
	AccessKeys(ctx context.Context, s tx.Scope, member uuid.UUID, p resource.Paging) (resource.Page[AccessKey], error)
	// KeyHolder gives the key with this hash and whose it is, in whatever
	// organisation; NotFound when no key has it.
	KeyHolder(ctx context.Context, secretHash [32]byte) (Holder, error)
	// NoteUse writes that a key was used at a moment, unless a use not more than
	// atMost before it is written already.
	NoteUse(ctx context.Context, org, key uuid.UUID, at time.Time, atMost time.Duration) error
}

// Config is what a Service works with; every field is needed.
type Config struct {
	Run    tx.Runner[Tx]
	Reads  Reads
	Random io.Reader        // where secrets come from
	Clock  func() time.Time // for Authenticate only; commands are told the time
	Log    *slog.Logger
}

// Service has the use cases of members and access keys.
type Service struct {
	Config
	known *cache
}

// New makes a Service.
func New(c Config) *Service {
	return &Service{Config: c, known: newCache(keysKnown, knownFor)}
}

// ReadMember gives one member; NotFound when the scope's organisation has none
// with this id.
func (s *Service) ReadMember(ctx context.Context, sc tx.Scope, id uuid.UUID) (Member, error) {
	return s.Reads.Member(ctx, sc, id)
}

// ListMembers gives a page of members, ordered by id.
func (s *Service) ListMembers(ctx context.Context, sc tx.Scope, f MemberFilter, p resource.Paging) (resource.Page[Member], error) {
	return s.Reads.Members(ctx, sc, f, p)
}

// ReadKey gives one access key, never its secret; NotFound when the scope's
// organisation has none with this id.
func (s *Service) ReadKey(ctx context.Context, sc tx.Scope, id uuid.UUID) (AccessKey, error) {
	return s.Reads.AccessKey(ctx, sc, id)
}

// ListKeys gives a page of access keys, ordered by id; with a member only that
// member's. Archived means revoked.
func (s *Service) ListKeys(ctx context.Context, sc tx.Scope, member uuid.UUID, p resource.Paging) (resource.Page[AccessKey], error) {
	return s.Reads.AccessKeys(ctx, sc, member, p)
}
