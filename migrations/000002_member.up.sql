CREATE TABLE member (
    org_id      uuid        NOT NULL REFERENCES organisation (org_id),
    id          uuid        NOT NULL,
    version     integer     NOT NULL DEFAULT 1,
    name        text        NOT NULL CHECK (name <> ''),
    email       text        NOT NULL DEFAULT '',
    phone       text        NOT NULL DEFAULT '',
    role        text        NOT NULL CHECK (role IN ('owner', 'coordinator', 'technician', 'viewer', 'integration')),
    time_zone   text        NOT NULL CHECK (time_zone <> ''),
    start_lat   double precision CHECK (start_lat BETWEEN -90 AND 90),
    start_lon   double precision CHECK (start_lon BETWEEN -180 AND 180),
    end_lat     double precision CHECK (end_lat BETWEEN -90 AND 90),
    end_lon     double precision CHECK (end_lon BETWEEN -180 AND 180),
    shifts      jsonb       NOT NULL DEFAULT '[]',
    absences    jsonb       NOT NULL DEFAULT '[]',
    skills      text[]      NOT NULL DEFAULT '{}',
    vehicle     jsonb,
    created_at  timestamptz NOT NULL,
    updated_at  timestamptz NOT NULL,
    archived_at timestamptz,
    create_hash bytea       NOT NULL,
    PRIMARY KEY (org_id, id),
    CHECK ((start_lat IS NULL) = (start_lon IS NULL)),
    CHECK ((end_lat IS NULL) = (end_lon IS NULL))
);
COMMENT ON TABLE member IS 'A person or a program in an organisation. Shifts by ISO weekday, minutes since midnight; absences in whole days.';

CREATE TABLE access_key (
    org_id       uuid        NOT NULL,
    id           uuid        NOT NULL,
    member_id    uuid        NOT NULL,
    label        text        NOT NULL,
    prefix       text        NOT NULL,
    created_at   timestamptz NOT NULL,
    expires_at   timestamptz,
    revoked_at   timestamptz,
    last_used_at timestamptz,
    version      integer     NOT NULL DEFAULT 1,
    create_hash  bytea       NOT NULL,
    PRIMARY KEY (org_id, id),
    FOREIGN KEY (org_id, member_id) REFERENCES member (org_id, id)
);
CREATE INDEX access_key_member_idx ON access_key (org_id, member_id);
COMMENT ON TABLE access_key IS 'A secret a member calls the service with; only its hash is kept, in key_hash.';

-- No foreign key: an unsharded table may not point into tenant tables.
CREATE TABLE key_hash (
    hash       bytea       PRIMARY KEY,
    org_id     uuid        NOT NULL,
    key_id     uuid        NOT NULL,
    member_id  uuid        NOT NULL,
    expires_at timestamptz,
    revoked_at timestamptz
);
CREATE INDEX key_hash_key_idx ON key_hash (org_id, key_id);
COMMENT ON TABLE key_hash IS 'SHA-256 of each access key and the tenant it opens; outside row security, since the tenant is not known before.';
