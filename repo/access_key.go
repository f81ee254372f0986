package repo

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/fault"
	"tankward/service/resource"
	"tankward/service/tx"
)

var (
	_ access.Tx    = (*Tx)(nil)
	_ access.Reads = (*DB)(nil)
)

// accessKeyRow reads a revoked key as archived: it has no other end, and no
// other change.
type accessKeyRow struct {
	metaRow
	MemberID   uuid.UUID
	Label      string
	Prefix     string
	ExpiresAt  *time.Time
	LastUsedAt *time.Time
}

func (r accessKeyRow) key() access.AccessKey {
	return access.AccessKey{Meta: r.meta(), Fields: access.KeyFields{
		MemberID: r.MemberID, Label: r.Label, Prefix: r.Prefix, ExpiresAt: utc(r.ExpiresAt), LastUsedAt: utc(r.LastUsedAt),
	}}
}

const accessKeyColumns = `
		id,
		version,
		created_at,
		coalesce(revoked_at, created_at) AS updated_at,
		revoked_at AS archived_at,
		member_id,
		label,
		prefix,
		expires_at,
		last_used_at`

var accessKeySQL = statements{
	resource: "access_key",
	load: `
	SELECT` + accessKeyColumns + `
	FROM access_key
	WHERE org_id = $1 AND id = $2
	FOR NO KEY UPDATE`,
	hash: `SELECT create_hash FROM access_key WHERE org_id = $1 AND id = $2`,
}

// accessKeyStore loads like every store; it saves nothing but the end of a key,
// which has to reach the hash as well.
type accessKeyStore struct {
	store[access.KeyFields, accessKeyRow]
}

// AccessKeys gives the store of access keys in this transaction.
func (t *Tx) AccessKeys() resource.Store[access.KeyFields] {
	return accessKeyStore{store[access.KeyFields, accessKeyRow]{t: t, sql: accessKeySQL, row: accessKeyRow.key}}
}

// Insert implements resource.Store.
func (s accessKeyStore) Insert(ctx context.Context, k access.AccessKey, hash [32]byte) (bool, error) {
	tag, err := s.t.tx.Exec(ctx, `
	INSERT INTO access_key (
		org_id,
		id,
		version,
		created_at,
		create_hash,
		member_id,
		label,
		prefix,
		expires_at
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
	ON CONFLICT (org_id, id) DO NOTHING`,
		s.t.org, k.ID, k.Version, k.CreatedAt, hash[:], k.Fields.MemberID, k.Fields.Label, k.Fields.Prefix, k.Fields.ExpiresAt)
	if err != nil {
		return false, translate("insert access key", err)
	}
	return tag.RowsAffected() == 1, nil
}

// Save implements resource.Store.
func (s accessKeyStore) Save(ctx context.Context, k access.AccessKey) error {
	_, err := s.t.tx.Exec(ctx, `
	UPDATE access_key
	SET
		version = $3,
		revoked_at = $4
	WHERE org_id = $1 AND id = $2`, s.t.org, k.ID, k.Version, k.ArchivedAt)
	if err != nil || k.ArchivedAt == nil {
		return translate("save access key", err)
	}
	return s.t.shutHashes(ctx, []uuid.UUID{k.ID}, *k.ArchivedAt)
}

// OpenKey makes a key's secret valid. key_hash stands outside the wall, so every
// statement on it names the organisation.
func (t *Tx) OpenKey(ctx context.Context, k access.AccessKey, secretHash [32]byte) error {
	_, err := t.tx.Exec(ctx, `
	INSERT INTO key_hash (hash, org_id, key_id, member_id, expires_at)
	VALUES ($1, $2, $3, $4, $5)`, secretHash[:], t.org, k.ID, k.Fields.MemberID, k.Fields.ExpiresAt)
	return translate("open an access key", err)
}

func (t *Tx) shutHashes(ctx context.Context, keys []uuid.UUID, at time.Time) error {
	_, err := t.tx.Exec(ctx, `
	UPDATE key_hash
	SET revoked_at = $3
	WHERE org_id = $1 AND key_id = ANY ($2) AND revoked_at IS NULL`, t.org, keys, at)
	return translate("shut access keys", err)
}

// AccessKey gives one access key.
func (db *DB) AccessKey(ctx context.Context, s tx.Scope, id uuid.UUID) (access.AccessKey, error) {
	return get(ctx, db, s, named("access_key", id, accessKeyRow.key), `
	SELECT`+accessKeyColumns+`
	FROM access_key
	WHERE org_id = $1 AND id = $2`)
}

// AccessKeys lists access keys by id; with a member only that member's.
func (db *DB) AccessKeys(ctx context.Context, s tx.Scope, member uuid.UUID, p resource.Paging) (resource.Page[access.AccessKey], error) {
	return list(ctx, asked{db, s, p}, accessKeyRow.key, `
	SELECT`+accessKeyColumns+`
	FROM access_key
	WHERE org_id = $1 AND id > $2 AND (revoked_at IS NOT NULL) = $4
		AND ($5::uuid IS NULL OR member_id = $5)
	ORDER BY id
	LIMIT $3`, nilable(member))
}

// KeyHolder gives the key with this hash and whose it is. It is the one read
// that starts without an organisation: the hash names it.
func (db *DB) KeyHolder(ctx context.Context, secretHash [32]byte) (access.Holder, error) {
	var h access.Holder
	var memberID uuid.UUID
	err := db.pool.QueryRow(ctx, `
	SELECT
		org_id,
		key_id,
		member_id,
		expires_at,
		revoked_at
	FROM key_hash
	WHERE hash = $1`, secretHash[:]).Scan(&h.Org, &h.Key, &memberID, &h.ExpiresAt, &h.RevokedAt)
	if errors.Is(err, errNoRow) {
		return access.Holder{}, &fault.Error{Class: fault.NotFound, Detail: "No access key has this hash."}
	}
	if err != nil {
		return access.Holder{}, translate("look up a key's hash", err)
	}
	s := tx.Scope{Org: h.Org}
	var members []access.Member
	var used []*time.Time
	err = db.read(ctx, s,
		query{selectMember, []any{h.Org, memberID}, into(&members, memberRow.member)},
		query{
			`SELECT last_used_at FROM access_key WHERE org_id = $1 AND id = $2`, []any{h.Org, h.Key},
			into(&used, func(r lastUsedRow) *time.Time { return utc(r.LastUsedAt) }),
		})
	if err != nil {
		return access.Holder{}, err
	}
	if len(members) != 1 || len(used) != 1 {
		return access.Holder{}, fault.NoSuch("access_key", h.Key)
	}
	h.Member, h.LastUsedAt = members[0], used[0]
	h.ExpiresAt, h.RevokedAt = utc(h.ExpiresAt), utc(h.RevokedAt)
	return h, nil
}

type lastUsedRow struct{ LastUsedAt *time.Time }

// NoteUse writes that a key was used, unless a use not more than atMost before
// is written. A key that is being revoked right now is passed over, not waited for.
func (db *DB) NoteUse(ctx context.Context, org, key uuid.UUID, at time.Time, atMost time.Duration) error {
	_, err := db.maintain(ctx, org, `
	WITH free AS (
		SELECT id
		FROM access_key
		WHERE org_id = $1 AND id = $2 AND (last_used_at IS NULL OR last_used_at <= $4)
		FOR NO KEY UPDATE SKIP LOCKED
	)
	UPDATE access_key
	SET last_used_at = $3
	FROM free
	WHERE access_key.org_id = $1 AND access_key.id = free.id`, org, key, at, at.Add(-atMost))
	return err
}
