package access

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"time"

	"github.com/google/uuid"

	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

const keyName = "access_key"

// KeyFields is what is known of an access key; never its secret.
type KeyFields struct {
	MemberID  uuid.UUID
	Label     string
	ExpiresAt *time.Time // nil: never
	// Prefix is the beginning of the secret, to recognise the key by; derived.
	Prefix string
	// LastUsedAt is written at most once a minute; it is derived and no part of
	// what the version counts.
	LastUsedAt *time.Time
}

// AccessKey is a secret a member calls the service with. ArchivedAt is when it
// was revoked; UpdatedAt repeats that, or CreatedAt.
type AccessKey = resource.Row[KeyFields]

// Validate says what is wrong with the fields.
func (f KeyFields) Validate() error {
	var c fleet.Checks
	c.Text("/label", f.Label, 200, true)
	if f.MemberID == uuid.Nil {
		c.Add("/member_id", "is needed; name the member the key is for")
	}
	return c.Err()
}

// NewKey is the outcome of making a key. Secret is shown this once: it is empty
// when the same request had made the key before.
type NewKey struct {
	Key    AccessKey
	New    bool
	Secret string
}

// secretStart begins every secret, so that a leaked one is recognised; secretLen
// characters of 62 follow: 62^43 is just above 2^256.
const (
	secretStart  = "tw_"
	secretLen    = 43
	prefixLen    = 8
	base62       = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
	fairByteEdge = 256 - 256%len(base62) // bytes from here on would favour some characters
)

// makeSecret draws a secret, each character equally likely.
func makeSecret(random io.Reader) (string, error) {
	out := make([]byte, 0, len(secretStart)+secretLen)
	out = append(out, secretStart...)
	var drawn [64]byte
	for {
		if _, err := io.ReadFull(random, drawn[:]); err != nil {
			return "", fmt.Errorf("draw a secret: %w", err)
		}
		for _, b := range drawn {
			if int(b) < fairByteEdge {
				out = append(out, base62[int(b)%len(base62)])
			}
			if len(out) == cap(out) {
				return string(out), nil
			}
		}
	}
}

// hashSecret gives what is stored of a secret. A plain hash is enough: a drawn
// secret cannot be guessed, unlike a chosen password.
func hashSecret(secret string) [32]byte { return sha256.Sum256([]byte(secret)) }

// CreateKey makes an access key for a member. Only an owner may make an owner's
// key, only owners and coordinators those of others; Forbidden otherwise.
// A member that is not there or archived is Invalid.
//
// The encoder of the call never sees the secret, so the answer that is kept for
// a repeat has none. The caller encodes Outcome.Result again to show it.
func (s *Service) CreateKey(ctx context.Context, c tx.Call[NewKey], id uuid.UUID, f KeyFields) (tx.Outcome[NewKey], error) {
	f = KeyFields{MemberID: f.MemberID, Label: f.Label, ExpiresAt: wholeMicros(f.ExpiresAt)}
	if err := f.Validate(); err != nil {
		return tx.Outcome[NewKey]{}, err
	}
	secret, err := makeSecret(s.Random)
	if err != nil {
		return tx.Outcome[NewKey]{}, err
	}
	if encode := c.Encode; encode != nil {
		c.Encode = func(k NewKey) (tx.Answer, error) {
			k.Secret = ""
			return encode(k)
		}
	}
	return tx.Do(ctx, s.Run, c, func(ctx context.Context, t Tx) (NewKey, tx.Trail, error) {
		made, trail, err := s.keys(c.Scope, secret).CreateIn(ctx, t, resource.New[KeyFields]{ID: id, Fields: f, Now: c.Now})
		out := NewKey{Key: made.Row, New: made.New}
		if made.New {
			out.Secret = secret
		}
		return out, trail, err
	})
}

// RevokeKey shuts an access key for good, at once on every replica. Only an
// owner may revoke an owner's key, only owners and coordinators those of others;
// Forbidden otherwise. Revoking twice changes nothing.
func (s *Service) RevokeKey(ctx context.Context, c tx.Call[AccessKey], id uuid.UUID, match resource.IfMatch) (tx.Outcome[AccessKey], error) {
	out, err := s.keys(c.Scope, "").Archive(ctx, c, id, match)
	if err == nil {
		s.ForgetKeys(c.Scope.Org)
	}
	return out, err
}

// keys describes access keys to the resource mechanism, for one caller and, on
// create, one secret.
func (s *Service) keys(caller tx.Scope, secret string) resource.Kind[Tx, KeyFields] {
	return resource.Kind[Tx, KeyFields]{
		Name:  keyName,
		Run:   s.Run,
		Store: func(t Tx) resource.Store[KeyFields] { return t.AccessKeys() },
		Prepare: func(ctx context.Context, t Tx, _ *AccessKey, f KeyFields, now time.Time) (KeyFields, error) {
			f.Prefix = secret[:prefixLen]
			if f.ExpiresAt != nil && !f.ExpiresAt.After(now) {
				return f, fault.InvalidField("/expires_at", "must be in the future; leave it out for a key that does not expire")
			}
			// The lock keeps the member from being archived meanwhile.
			m, err := t.Members().Load(ctx, f.MemberID)
			if fault.Is(err, fault.NotFound) {
				return f, fault.InvalidField("/member_id", "there is no member %s in this organisation", f.MemberID)
			}
			if err != nil {
				return f, err
			}
			if m.ArchivedAt != nil {
				return f, fault.InvalidField("/member_id", "is archived; an archived member has no keys")
			}
			return f, mayHold(caller, m.ID, m.Fields.Role)
		},
		MayArchive: func(ctx context.Context, t Tx, k AccessKey) error {
			role, err := t.MemberRole(ctx, k.Fields.MemberID)
			if err != nil {
				return err
			}
			return mayHold(caller, k.Fields.MemberID, role)
		},
		Follow: func(ctx context.Context, t Tx, old *AccessKey, saved AccessKey, _ time.Time) (tx.Trail, error) {
			if old != nil {
				return tx.Trail{}, nil
			}
			return tx.Trail{}, t.OpenKey(ctx, saved, hashSecret(secret))
		},
	}
}

// mayHold says whether a caller may make and revoke a member's keys: whoever
// holds another's key acts as that member.
func mayHold(caller tx.Scope, member uuid.UUID, role tx.Role) error {
	switch {
	case caller.Role == tx.Owner || caller.Actor == member:
		return nil
	case role == tx.Owner:
		return fault.Denied("Only an owner may make or revoke the keys of an owner.")
	case caller.Role != tx.Coordinator:
		return fault.Denied("Only an owner or a coordinator may make or revoke the keys of another member.")
	}
	return nil
}

// wholeMicros gives a moment as it will be read back.
func wholeMicros(t *time.Time) *time.Time {
	if t == nil {
		return nil
	}
	u := t.UTC().Truncate(time.Microsecond)
	return &u
}
