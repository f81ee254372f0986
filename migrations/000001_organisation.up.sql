-- The organisation is the tenant. Two tables stand outside the wall: the
-- directory that sweeps walk, and the hashes by which a key finds its tenant.
CREATE TABLE organisation_directory (
    org_id     uuid        PRIMARY KEY,
    created_at timestamptz NOT NULL
);
COMMENT ON TABLE organisation_directory IS 'Every organisation, outside row security: walked by sweeps and by check, one organisation a transaction.';

CREATE TABLE organisation (
    org_id      uuid        PRIMARY KEY,
    version     integer     NOT NULL DEFAULT 1,
    name        text        NOT NULL CHECK (name <> ''),
    kind        text        NOT NULL CHECK (kind IN ('business', 'club')),
    time_zone   text        NOT NULL CHECK (time_zone <> ''),
    created_at  timestamptz NOT NULL,
    updated_at  timestamptz NOT NULL
);
COMMENT ON TABLE organisation IS 'A maintenance business or a club: the tenant.';

CREATE TABLE change_head (
    org_id   uuid   PRIMARY KEY,
    last_seq bigint NOT NULL CHECK (last_seq >= 0)
) WITH (fillfactor = 50);
COMMENT ON TABLE change_head IS 'Raised by the last statement of every writing transaction, so that numbers are in commit order without gaps.';

CREATE TABLE change (
    org_id   uuid        NOT NULL,
    seq      bigint      NOT NULL,
    at       timestamptz NOT NULL,
    resource text        NOT NULL,
    action   text        NOT NULL,
    id       uuid        NOT NULL,
    site_id  uuid,
    tank_id  uuid,
    actor_id uuid        NOT NULL,
    fields   text[]      NOT NULL,
    PRIMARY KEY (org_id, seq)
);
COMMENT ON TABLE change IS 'What changed, in commit order per organisation. Names of fields only, never values.';

CREATE TABLE audit_entry (
    org_id     uuid        NOT NULL,
    id         uuid        NOT NULL,
    at         timestamptz NOT NULL,
    actor_id   uuid        NOT NULL,
    role       text        NOT NULL,
    command    text        NOT NULL,
    resource   text        NOT NULL,
    subject_id uuid        NOT NULL,
    fields     text[]      NOT NULL,
    reason     text        NOT NULL,
    request_id text        NOT NULL,
    PRIMARY KEY (org_id, id)
);
COMMENT ON TABLE audit_entry IS 'Who carried out which command on what.';

CREATE TABLE stored_answer (
    org_id      uuid        NOT NULL,
    actor_id    uuid        NOT NULL,
    key         text        NOT NULL CHECK (key <> ''),
    fingerprint bytea       NOT NULL,
    status      smallint    NOT NULL DEFAULT 0,
    etag        text        NOT NULL DEFAULT '',
    location    text        NOT NULL DEFAULT '',
    body        bytea       NOT NULL DEFAULT '',
    created_at  timestamptz NOT NULL,
    PRIMARY KEY (org_id, actor_id, key)
);
CREATE INDEX stored_answer_created_idx ON stored_answer (org_id, created_at);
COMMENT ON TABLE stored_answer IS 'The answer of each committed command that carried an Idempotency-Key; kept 30 days.';
