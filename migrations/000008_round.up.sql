CREATE TABLE round (
    org_id        uuid        NOT NULL,
    id            uuid        NOT NULL,
    version       integer     NOT NULL DEFAULT 1,
    member_id     uuid        NOT NULL,
    day           date        NOT NULL,
    start_at      timestamptz,
    end_at        timestamptz,
    drive_minutes integer     NOT NULL DEFAULT 0,
    drive_m       integer     NOT NULL DEFAULT 0,
    overtime_minutes integer  NOT NULL DEFAULT 0,
    unserved      jsonb       NOT NULL DEFAULT '[]',
    unclear       text[]      NOT NULL DEFAULT '{}',
    created_at    timestamptz NOT NULL,
    updated_at    timestamptz NOT NULL,
    PRIMARY KEY (org_id, id),
    UNIQUE (org_id, member_id, day),
    FOREIGN KEY (org_id, member_id) REFERENCES member (org_id, id)
);
CREATE INDEX round_day_idx ON round (org_id, day, member_id);
COMMENT ON TABLE round IS 'A technician''s day, made when it was first read; its order changes only by a new plan.';

CREATE TABLE visit (
    org_id          uuid        NOT NULL,
    id              uuid        NOT NULL,
    version         integer     NOT NULL DEFAULT 1,
    site_id         uuid        NOT NULL,
    day             date        NOT NULL,
    member_id       uuid        NOT NULL,
    state           text        NOT NULL CHECK (state IN ('planned', 'under_way', 'finished', 'abandoned')),
    position        integer     NOT NULL CHECK (position >= 0),
    arrive_at       timestamptz,
    begin_at        timestamptz,
    depart_at       timestamptz,
    service_minutes integer     NOT NULL DEFAULT 0,
    drive_minutes   integer     NOT NULL DEFAULT 0,
    drive_m         integer     NOT NULL DEFAULT 0,
    started_at      timestamptz,
    finished_at     timestamptz,
    created_at      timestamptz NOT NULL,
    updated_at      timestamptz NOT NULL,
    PRIMARY KEY (org_id, id),
    UNIQUE (org_id, member_id, day, site_id),
    FOREIGN KEY (org_id, site_id) REFERENCES site (org_id, id),
    FOREIGN KEY (org_id, member_id) REFERENCES member (org_id, id)
);
CREATE INDEX visit_site_idx ON visit (org_id, site_id, day);
CREATE INDEX visit_day_idx ON visit (org_id, day, member_id, position, id);
COMMENT ON TABLE visit IS 'One technician at one site on one day. A round is the ordered visits of (member, day).';

CREATE TABLE visit_item (
    org_id          uuid     NOT NULL,
    visit_id        uuid     NOT NULL,
    routine_id      uuid     NOT NULL,
    nominal_due     date     NOT NULL,
    ordinal         integer  NOT NULL,
    added_later     boolean  NOT NULL DEFAULT false,
    earliest        date     NOT NULL,
    due             date     NOT NULL,
    latest          date     NOT NULL,
    late_since      date,
    state           text     NOT NULL CHECK (state IN ('early', 'due', 'overdue', 'waiting', 'blocked')),
    done_percent    smallint NOT NULL DEFAULT 0,
    no_access_count integer  NOT NULL DEFAULT 0,
    level_percent   double precision NOT NULL DEFAULT 0,
    facts           jsonb    NOT NULL DEFAULT '[]',
    PRIMARY KEY (org_id, visit_id, routine_id, nominal_due, ordinal),
    FOREIGN KEY (org_id, visit_id) REFERENCES visit (org_id, id),
    FOREIGN KEY (org_id, routine_id) REFERENCES routine (org_id, id)
);
COMMENT ON TABLE visit_item IS 'The due work a visit is for, by identity, as it stood when it came into the visit: done work has left due_item.';
ALTER TABLE work_record ADD FOREIGN KEY (org_id, visit_id) REFERENCES visit (org_id, id);
