CREATE TABLE customer (
    org_id       uuid        NOT NULL REFERENCES organisation (org_id),
    id           uuid        NOT NULL,
    version      integer     NOT NULL DEFAULT 1,
    name         text        NOT NULL CHECK (name <> ''),
    contact_name text        NOT NULL DEFAULT '',
    email        text        NOT NULL DEFAULT '',
    phone        text        NOT NULL DEFAULT '',
    note         text        NOT NULL DEFAULT '',
    created_at   timestamptz NOT NULL,
    updated_at   timestamptz NOT NULL,
    archived_at  timestamptz,
    create_hash  bytea       NOT NULL,
    PRIMARY KEY (org_id, id)
);
COMMENT ON TABLE customer IS 'Who the tanks of a site belong to; the own tanks of a club need none.';

CREATE TABLE site (
    org_id                uuid        NOT NULL REFERENCES organisation (org_id),
    id                    uuid        NOT NULL,
    version               integer     NOT NULL DEFAULT 1,
    name                  text        NOT NULL CHECK (name <> ''),
    customer_id           uuid,
    street                text        NOT NULL DEFAULT '',
    postal_code           text        NOT NULL DEFAULT '',
    city                  text        NOT NULL DEFAULT '',
    region                text        NOT NULL DEFAULT '',
    country               text        NOT NULL DEFAULT '',
    lat                   double precision NOT NULL CHECK (lat BETWEEN -90 AND 90),
    lon                   double precision NOT NULL CHECK (lon BETWEEN -180 AND 180),
    time_zone             text        NOT NULL CHECK (time_zone <> ''),
    access_windows        jsonb       NOT NULL DEFAULT '[]',
    no_access_weekdays    smallint    NOT NULL DEFAULT 0,
    no_access_entered_on  date        NOT NULL,
    water_mode            text        NOT NULL CHECK (water_mode IN ('hauled', 'mixed_on_site', 'none')),
    responsible_member_id uuid,
    carry_distance_m      integer     NOT NULL DEFAULT 0 CHECK (carry_distance_m >= 0),
    carry_floors          integer     NOT NULL DEFAULT 0 CHECK (carry_floors >= 0),
    setup_minutes         integer     NOT NULL DEFAULT 5 CHECK (setup_minutes >= 0),
    created_at            timestamptz NOT NULL,
    updated_at            timestamptz NOT NULL,
    archived_at           timestamptz,
    create_hash           bytea       NOT NULL,
    PRIMARY KEY (org_id, id),
    FOREIGN KEY (org_id, customer_id) REFERENCES customer (org_id, id),
    FOREIGN KEY (org_id, responsible_member_id) REFERENCES member (org_id, id)
);
CREATE INDEX site_customer_idx ON site (org_id, customer_id);
CREATE INDEX site_member_idx ON site (org_id, responsible_member_id);
COMMENT ON TABLE site IS 'A place with tanks. Its local date is "today" for all its work.';
COMMENT ON COLUMN site.no_access_weekdays IS 'Bits 1 (Monday) to 7: weekdays that the access windows leave out; none when there are no windows.';

CREATE TABLE site_access_notes (
    org_id     uuid        NOT NULL,
    site_id    uuid        NOT NULL,
    version    integer     NOT NULL DEFAULT 1,
    notes      text        NOT NULL,
    updated_at timestamptz NOT NULL,
    PRIMARY KEY (org_id, site_id),
    FOREIGN KEY (org_id, site_id) REFERENCES site (org_id, id)
);
COMMENT ON TABLE site_access_notes IS 'Keys, codes and who to ask: kept apart from the site, for fewer eyes.';

CREATE TABLE closure (
    org_id      uuid        NOT NULL REFERENCES organisation (org_id),
    id          uuid        NOT NULL,
    version     integer     NOT NULL DEFAULT 1,
    site_id     uuid,
    from_day    date        NOT NULL,
    to_day      date        NOT NULL,
    reason      text        NOT NULL DEFAULT '',
    entered_on  date        NOT NULL,
    created_at  timestamptz NOT NULL,
    updated_at  timestamptz NOT NULL,
    archived_at timestamptz,
    create_hash bytea       NOT NULL,
    PRIMARY KEY (org_id, id),
    FOREIGN KEY (org_id, site_id) REFERENCES site (org_id, id),
    CHECK (from_day <= to_day)
);
CREATE INDEX closure_site_idx ON closure (org_id, site_id);
COMMENT ON TABLE closure IS 'Days, both ends included, on which a site (or, with no site, the whole organisation) is shut.';
