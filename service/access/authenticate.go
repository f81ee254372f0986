package access

import (
	"context"
	"strings"
	"time"

	"github.com/google/uuid"

	"tankward/service/fault"
	"tankward/service/tx"
)

// Holder is a key as it is found by its secret, and whose it is.
type Holder struct {
	Org        uuid.UUID
	Key        uuid.UUID
	ExpiresAt  *time.Time
	RevokedAt  *time.Time
	LastUsedAt *time.Time
	Member     Member
}

// Caller is who shows a valid key. Its scope has no request id yet.
type Caller struct {
	Scope    tx.Scope
	Key      uuid.UUID
	Name     string
	TimeZone string
}

const (
	// knownFor bounds how long a revoked key may still be taken for valid when
	// the notification of its end is lost.
	knownFor = 5 * time.Second
	// keysKnown bounds the memory: a few hundred bytes each.
	keysKnown = 10_000
	// usedEvery is how often the use of one key is written.
	usedEvery = time.Minute
	// noteLimit bounds how long a request waits for that.
	noteLimit = time.Second
)

const (
	noKey      = "An access key is needed: send it as \"Authorization: Bearer tw_…\"."
	wrongKey   = "This access key is not known. Check that it was copied whole; an owner can make a new one."
	revokedKey = "This access key was revoked. An owner can make a new one."
	expiredKey = "This access key has expired. An owner can make a new one."
	goneMember = "The member this access key belongs to is archived."
)

// Authenticate says who shows a secret. A secret that is missing, malformed,
// unknown, revoked, expired or an archived member's is Unauthenticated. What it
// finds is kept for up to five seconds, or until ForgetKeys.
func (s *Service) Authenticate(ctx context.Context, secret string) (Caller, error) {
	if secret == "" {
		return Caller{}, fault.Unknown(noKey)
	}
	if !wellFormed(secret) {
		return Caller{}, fault.Unknown(wrongKey)
	}
	hash, now := hashSecret(secret), s.Clock()
	h, err := s.holder(ctx, hash, now)
	if err != nil {
		return Caller{}, err
	}
	if err := h.valid(now); err != nil {
		return Caller{}, err
	}
	s.noteUse(ctx, h, hash, now)
	return Caller{
		Scope: tx.Scope{Org: h.Org, Actor: h.Member.ID, Role: h.Member.Fields.Role},
		Key:   h.Key, Name: h.Member.Fields.Name, TimeZone: h.Member.Fields.TimeZone,
	}, nil
}

// holder looks a key up and keeps it, if it is valid: what was forgotten while
// the answer was on its way is looked up again the next time.
func (s *Service) holder(ctx context.Context, hash [32]byte, now time.Time) (Holder, error) {
	if h, ok := s.known.get(hash, now); ok {
		return h, nil
	}
	before := s.known.state()
	h, err := s.Reads.KeyHolder(ctx, hash)
	if fault.Is(err, fault.NotFound) {
		return Holder{}, fault.Unknown(wrongKey)
	}
	if err == nil && h.valid(now) == nil {
		s.known.put(hash, h, now, before)
	}
	return h, err
}

// valid says why a key cannot be used, if it cannot.
func (h Holder) valid(now time.Time) error {
	switch {
	case h.RevokedAt != nil:
		return fault.Unknown(revokedKey)
	case h.ExpiresAt != nil && !h.ExpiresAt.After(now):
		return fault.Unknown(expiredKey)
	case h.Member.ArchivedAt != nil:
		return fault.Unknown(goneMember)
	}
	return nil
}

func wellFormed(secret string) bool {
	rest, ok := strings.CutPrefix(secret, secretStart)
	if !ok || len(rest) != secretLen {
		return false
	}
	for i := range len(rest) {
		if strings.IndexByte(base62, rest[i]) < 0 {
			return false
		}
	}
	return true
}

// noteUse writes the last use of a key, outside of the request's transaction and
// whatever becomes of the request. It has no change entry: nobody decided
// anything, and an entry a minute and key would bury those that matter. A
// failure is no reason to refuse the caller.
func (s *Service) noteUse(ctx context.Context, h Holder, hash [32]byte, now time.Time) {
	if h.LastUsedAt != nil && now.Sub(*h.LastUsedAt) < usedEvery {
		return
	}
	if !s.known.claimNote(hash, now) {
		return
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), noteLimit)
	defer cancel()
	if err := s.Reads.NoteUse(ctx, h.Org, h.Key, now, usedEvery); err != nil {
		s.Log.WarnContext(ctx, "the use of an access key was not written", "key_id", h.Key, "error", err)
	}
}

// ForgetKeys drops what is known of an organisation's keys; they are looked up
// again. It is called when a key or member of it changed, on whatever replica.
func (s *Service) ForgetKeys(org uuid.UUID) { s.known.forget(org) }

// ForgetAllKeys drops what is known of every key, for when notifications may
// have been missed.
func (s *Service) ForgetAllKeys() { s.known.forgetAll() }
