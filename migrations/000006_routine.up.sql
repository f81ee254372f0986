CREATE TABLE routine (
    org_id            uuid        NOT NULL,
    id                uuid        NOT NULL,
    version           integer     NOT NULL DEFAULT 1,
    site_id           uuid        NOT NULL,
    tank_id           uuid        NOT NULL,
    equipment_id      uuid,
    livestock_id      uuid,
    name              text        NOT NULL CHECK (name <> ''),
    work_kind         text        NOT NULL CHECK (work_kind IN ('feeding', 'target_feeding', 'water_change', 'filter_sock_change', 'water_test', 'top_off', 'dosing', 'glass_cleaning', 'light_step', 'equipment_service', 'arrival', 'inspection', 'other')),
    consequence_class smallint    NOT NULL CHECK (consequence_class BETWEEN 1 AND 4),
    part_of_day       text        NOT NULL DEFAULT 'any' CHECK (part_of_day IN ('any', 'morning', 'midday', 'evening')),
    active_minutes    integer     NOT NULL CHECK (active_minutes >= 0),
    waits             jsonb       NOT NULL DEFAULT '[]',
    materials         jsonb       NOT NULL DEFAULT '[]',
    skill             text        NOT NULL DEFAULT '',
    first_day         date        NOT NULL,
    last_day          date        CHECK (last_day >= first_day),
    catch_up          text        NOT NULL DEFAULT 'merge' CHECK (catch_up IN ('merge', 'each')),
    created_at        timestamptz NOT NULL,
    updated_at        timestamptz NOT NULL,
    archived_at       timestamptz,
    create_hash       bytea       NOT NULL,
    PRIMARY KEY (org_id, id),
    UNIQUE (org_id, tank_id, id),
    FOREIGN KEY (org_id, site_id, tank_id) REFERENCES tank (org_id, site_id, id),
    FOREIGN KEY (org_id, tank_id, equipment_id) REFERENCES equipment (org_id, tank_id, id),
    FOREIGN KEY (org_id, tank_id, livestock_id) REFERENCES livestock (org_id, tank_id, id)
);
CREATE INDEX routine_site_idx ON routine (org_id, site_id);
COMMENT ON TABLE routine IS 'A rule that makes work due at a tank, again and again. consequence_class: 1 life support, 2 animal welfare, 3 water quality, 4 upkeep.';

CREATE TABLE routine_revision (
    org_id             uuid             NOT NULL,
    routine_id         uuid             NOT NULL,
    from_day           date             NOT NULL,
    tank_id            uuid             NOT NULL,
    performed_by       text             NOT NULL CHECK (performed_by IN ('technician', 'keeper', 'shop', 'device')),
    cadence_kind       text             NOT NULL CHECK (cadence_kind IN ('interval', 'calendar', 'once', 'joined', 'reading', 'ramp')),
    every              integer          CHECK (every > 0),
    unit               text             CHECK (unit IN ('day', 'week', 'month')),
    rule               text,
    on_day             date,
    parent_id          uuid,
    gap_unit           text             CHECK (gap_unit IN ('minute', 'day')),
    gap_least          integer          CHECK (gap_least >= 0),
    gap_greatest       integer          CHECK (gap_greatest >= gap_least),
    parameter          text,
    ramp_light_id      uuid,
    ramp_from_percent  double precision CHECK (ramp_from_percent BETWEEN 0 AND 100),
    ramp_to_percent    double precision CHECK (ramp_to_percent BETWEEN 0 AND 100),
    ramp_days          integer          CHECK (ramp_days > 0),
    ramp_step_days     integer          CHECK (ramp_step_days > 0),
    ramp_curve         text             CHECK (ramp_curve IN ('linear', 'geometric')),
    ramp_greatest_rise double precision CHECK (ramp_greatest_rise > 0),
    days_early         integer          NOT NULL CHECK (days_early >= 0),
    days_late          integer          NOT NULL CHECK (days_late >= 0),
    active_months      smallint         NOT NULL DEFAULT 0 CHECK (active_months BETWEEN 0 AND 8190),
    actor_id           uuid             NOT NULL,
    PRIMARY KEY (org_id, routine_id, from_day),
    FOREIGN KEY (org_id, tank_id, routine_id) REFERENCES routine (org_id, tank_id, id),
    FOREIGN KEY (org_id, tank_id, parent_id) REFERENCES routine (org_id, tank_id, id),
    FOREIGN KEY (org_id, tank_id, ramp_light_id) REFERENCES equipment (org_id, tank_id, id),
    CHECK (parent_id <> routine_id),
    CHECK (CASE cadence_kind
        WHEN 'interval' THEN num_nulls(every, unit) = 0
        WHEN 'calendar' THEN rule IS NOT NULL
        WHEN 'once' THEN on_day IS NOT NULL
        WHEN 'joined' THEN num_nulls(parent_id, gap_unit, gap_least, gap_greatest) = 0
        WHEN 'reading' THEN parameter IS NOT NULL
        ELSE num_nulls(ramp_from_percent, ramp_to_percent, ramp_days, ramp_step_days, ramp_curve, ramp_greatest_rise) = 0
    END)
);
CREATE INDEX routine_revision_parent_idx ON routine_revision (org_id, parent_id) WHERE parent_id IS NOT NULL;
COMMENT ON TABLE routine_revision IS 'What a routine says from a day on: an edit counts from the day it is entered, never back. active_months: bits 1 to 12, 0 for all.';

CREATE TABLE ramp_event (
    org_id      uuid        NOT NULL,
    id          uuid        NOT NULL,
    routine_id  uuid        NOT NULL,
    kind        text        NOT NULL CHECK (kind IN ('hold', 'resume', 'step_back')),
    day         date        NOT NULL,
    reason      text        NOT NULL,
    recorded_at timestamptz NOT NULL,
    actor_id    uuid        NOT NULL,
    PRIMARY KEY (org_id, id),
    FOREIGN KEY (org_id, routine_id) REFERENCES routine (org_id, id)
);
CREATE INDEX ramp_event_routine_idx ON ramp_event (org_id, routine_id, day, id);
COMMENT ON TABLE ramp_event IS 'A ramp was held, resumed or stepped back, and why.';

CREATE TABLE pause (
    org_id      uuid        NOT NULL,
    id          uuid        NOT NULL,
    version     integer     NOT NULL DEFAULT 1,
    tank_id     uuid        NOT NULL,
    routine_id  uuid,
    from_day    date        NOT NULL,
    to_day      date        CHECK (to_day > from_day),
    reason      text        NOT NULL DEFAULT '',
    created_at  timestamptz NOT NULL,
    updated_at  timestamptz NOT NULL,
    archived_at timestamptz,
    create_hash bytea       NOT NULL,
    PRIMARY KEY (org_id, id),
    FOREIGN KEY (org_id, tank_id) REFERENCES tank (org_id, id),
    FOREIGN KEY (org_id, tank_id, routine_id) REFERENCES routine (org_id, tank_id, id)
);
CREATE INDEX pause_tank_idx ON pause (org_id, tank_id);
COMMENT ON TABLE pause IS 'Days [from_day, to_day) on which a tank, or one routine of it, rests; to_day is the resume day.';

CREATE TABLE work_record (
    org_id            uuid        NOT NULL,
    id                uuid        NOT NULL,
    site_id           uuid        NOT NULL,
    tank_id           uuid        NOT NULL,
    routine_id        uuid,
    work_kind         text        NOT NULL CHECK (work_kind IN ('feeding', 'target_feeding', 'water_change', 'filter_sock_change', 'water_test', 'top_off', 'dosing', 'glass_cleaning', 'light_step', 'equipment_service', 'arrival', 'inspection', 'other')),
    named_nominal_due date,
    named_ordinal     integer,
    done_on           date        NOT NULL,
    done_at           timestamptz,
    received_at       timestamptz NOT NULL,
    result            text        NOT NULL CHECK (result IN ('done', 'partly', 'skipped', 'no_access')),
    share_percent     smallint    CHECK (share_percent BETWEEN 1 AND 100),
    reason            text        NOT NULL DEFAULT '',
    with_joined       boolean     NOT NULL DEFAULT false,
    new_due_on        date,
    minutes           integer     CHECK (minutes >= 0),
    amounts           jsonb       NOT NULL DEFAULT '[]',
    level_percent     double precision CHECK (level_percent BETWEEN 0 AND 100),
    note              text        NOT NULL DEFAULT '',
    done_by_kind      text        NOT NULL CHECK (done_by_kind IN ('member', 'keeper', 'device', 'other')),
    done_by_id        uuid,
    done_by_name      text        NOT NULL DEFAULT '',
    recorded_by       uuid        NOT NULL,
    visit_id          uuid,
    voided_at         timestamptz,
    voided_by         uuid,
    void_reason       text        NOT NULL DEFAULT '',
    create_hash       bytea       NOT NULL,
    PRIMARY KEY (org_id, id),
    FOREIGN KEY (org_id, site_id, tank_id) REFERENCES tank (org_id, site_id, id),
    FOREIGN KEY (org_id, tank_id, routine_id) REFERENCES routine (org_id, tank_id, id),
    CHECK ((result = 'partly') = (share_percent IS NOT NULL)),
    CHECK ((named_nominal_due IS NULL) = (named_ordinal IS NULL)),
    CHECK ((voided_at IS NULL) = (voided_by IS NULL))
);
CREATE INDEX work_record_routine_idx ON work_record (org_id, routine_id, done_on, id) WHERE routine_id IS NOT NULL;
CREATE INDEX work_record_tank_idx ON work_record (org_id, tank_id, done_on, id);
CREATE INDEX work_record_site_idx ON work_record (org_id, site_id, done_on, id);
COMMENT ON TABLE work_record IS 'What was done. Rows never change but for the void columns.';

CREATE TABLE item_close (
    org_id      uuid     NOT NULL,
    routine_id  uuid     NOT NULL,
    nominal_due date     NOT NULL,
    ordinal     integer  NOT NULL,
    record_id   uuid     NOT NULL,
    PRIMARY KEY (org_id, routine_id, nominal_due, ordinal),
    UNIQUE (org_id, record_id, routine_id),
    FOREIGN KEY (org_id, routine_id) REFERENCES routine (org_id, id),
    FOREIGN KEY (org_id, record_id) REFERENCES work_record (org_id, id)
);
COMMENT ON TABLE item_close IS 'Which record closes which item of a routine; rewritten from the fold under the tank''s lock.';

CREATE TABLE due_item (
    org_id            uuid     NOT NULL,
    routine_id        uuid     NOT NULL,
    site_id           uuid     NOT NULL,
    tank_id           uuid     NOT NULL,
    work_kind         text     COLLATE "C" NOT NULL,
    performed_by      text     NOT NULL,
    consequence_class smallint NOT NULL,
    nominal_due       date     NOT NULL,
    ordinal           integer  NOT NULL,
    earliest          date     NOT NULL,
    due               date     NOT NULL,
    latest            date     NOT NULL,
    late_from         date     NOT NULL,
    next_earliest     date     NOT NULL,
    state             text     NOT NULL DEFAULT '' CHECK (state IN ('', 'waiting', 'blocked')),
    done_percent      smallint NOT NULL DEFAULT 0,
    no_access_count   integer  NOT NULL DEFAULT 0,
    level_percent     double precision NOT NULL DEFAULT 0,
    facts             jsonb    NOT NULL,
    PRIMARY KEY (org_id, routine_id),
    FOREIGN KEY (org_id, routine_id) REFERENCES routine (org_id, id)
) WITH (fillfactor = 80);
CREATE INDEX due_item_order_idx ON due_item (org_id, consequence_class, latest, tank_id, work_kind, routine_id, nominal_due, ordinal) INCLUDE (earliest);
CREATE INDEX due_item_tank_idx ON due_item (org_id, tank_id);
CREATE INDEX due_item_site_idx ON due_item (org_id, site_id);
COMMENT ON TABLE due_item IS 'Per routine its oldest unclosed item with moved dates: never a function of today. From next_earliest on the fold is asked again.';
