-- A reference table, the same for every organisation; its rows come from the
-- built-in catalogue when migrations have run.
CREATE TABLE catalogue_species (
    code            text PRIMARY KEY,
    scientific_name text NOT NULL
);
COMMENT ON TABLE catalogue_species IS 'Codes of the built-in species catalogue.';

CREATE TABLE species (
    org_id          uuid        NOT NULL REFERENCES organisation (org_id),
    id              uuid        NOT NULL,
    version         integer     NOT NULL DEFAULT 1,
    scientific_name text        NOT NULL CHECK (scientific_name <> ''),
    synonyms        text[]      NOT NULL DEFAULT '{}',
    trade_name      text        NOT NULL DEFAULT '',
    species_group   text        NOT NULL CHECK (species_group IN ('soft', 'large_polyp_stony', 'small_polyp_stony', 'non_photosynthetic', 'gorgonian', 'anemone', 'fish', 'crustacean', 'mollusc', 'echinoderm', 'pest', 'other')),
    counting        text        NOT NULL CHECK (counting IN ('individual', 'colony', 'fragment', 'mat')),
    facts           jsonb       NOT NULL DEFAULT '[]',
    cautions        jsonb       NOT NULL DEFAULT '[]',
    created_at      timestamptz NOT NULL,
    updated_at      timestamptz NOT NULL,
    archived_at     timestamptz,
    create_hash     bytea       NOT NULL,
    PRIMARY KEY (org_id, id)
);
COMMENT ON TABLE species IS 'An organisation''s own species beside the catalogue.';

CREATE TABLE livestock (
    org_id       uuid        NOT NULL,
    id           uuid        NOT NULL,
    version      integer     NOT NULL DEFAULT 1,
    tank_id      uuid        NOT NULL,
    species_code text        REFERENCES catalogue_species (code),
    species_own  uuid,
    form         text        NOT NULL CHECK (form IN ('individual', 'colony', 'fragment', 'mat')),
    label        text        NOT NULL DEFAULT '',
    source       text        NOT NULL DEFAULT '',
    place        text        NOT NULL DEFAULT '',
    state        text        NOT NULL CHECK (state IN ('quarantine', 'settling', 'settled', 'at_risk')),
    arrived_on   date        NOT NULL,
    count        integer     NOT NULL CHECK (count >= 0),
    permit_ref   text        NOT NULL DEFAULT '',
    created_at   timestamptz NOT NULL,
    updated_at   timestamptz NOT NULL,
    archived_at  timestamptz,
    create_hash  bytea       NOT NULL,
    PRIMARY KEY (org_id, id),
    UNIQUE (org_id, tank_id, id),
    FOREIGN KEY (org_id, tank_id) REFERENCES tank (org_id, id),
    FOREIGN KEY (org_id, species_own) REFERENCES species (org_id, id),
    CHECK (num_nonnulls(species_code, species_own) = 1)
);
COMMENT ON TABLE livestock IS 'Animals of one species in one tank. count is the sum of their events, kept in the same transaction.';

CREATE TABLE livestock_event (
    org_id       uuid        NOT NULL,
    id           uuid        NOT NULL,
    livestock_id uuid        NOT NULL,
    kind         text        NOT NULL CHECK (kind IN ('arrival', 'birth', 'split', 'death', 'removal', 'correction')),
    day          date        NOT NULL,
    delta        integer     NOT NULL CHECK (delta <> 0),
    reason       text        NOT NULL DEFAULT '',
    recorded_at  timestamptz NOT NULL,
    actor_id     uuid        NOT NULL,
    create_hash  bytea       NOT NULL,
    PRIMARY KEY (org_id, id),
    FOREIGN KEY (org_id, livestock_id) REFERENCES livestock (org_id, id)
);
CREATE INDEX livestock_event_livestock_idx ON livestock_event (org_id, livestock_id, day, id);
COMMENT ON TABLE livestock_event IS 'Why a count changed. Rows are never changed; a correction is another event.';
