-- The schema as the migrations leave it, read from the catalog. Never edit it:
--     go test ./repo -run TestSchemaIsTheCommittedOne -update
-- The job queue's own schema is not ours to write down.

CREATE TABLE access_key (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    member_id uuid NOT NULL,
    label text NOT NULL,
    prefix text NOT NULL,
    created_at timestamp with time zone NOT NULL,
    expires_at timestamp with time zone,
    revoked_at timestamp with time zone,
    last_used_at timestamp with time zone,
    version integer NOT NULL DEFAULT 1,
    create_hash bytea NOT NULL,
    CONSTRAINT access_key_org_id_member_id_fkey FOREIGN KEY (org_id, member_id) REFERENCES member(org_id, id),
    CONSTRAINT access_key_pkey PRIMARY KEY (org_id, id)
);
CREATE TABLE audit_entry (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    at timestamp with time zone NOT NULL,
    actor_id uuid NOT NULL,
    role text NOT NULL,
    command text NOT NULL,
    resource text NOT NULL,
    subject_id uuid NOT NULL,
    fields text[] NOT NULL,
    reason text NOT NULL,
    request_id text NOT NULL,
    CONSTRAINT audit_entry_pkey PRIMARY KEY (org_id, id)
);
CREATE TABLE catalogue_species (
    code text NOT NULL,
    scientific_name text NOT NULL,
    CONSTRAINT catalogue_species_pkey PRIMARY KEY (code)
);
CREATE TABLE change (
    org_id uuid NOT NULL,
    seq bigint NOT NULL,
    at timestamp with time zone NOT NULL,
    resource text NOT NULL,
    action text NOT NULL,
    id uuid NOT NULL,
    site_id uuid,
    tank_id uuid,
    actor_id uuid NOT NULL,
    fields text[] NOT NULL,
    CONSTRAINT change_pkey PRIMARY KEY (org_id, seq)
);
CREATE TABLE change_head (
    org_id uuid NOT NULL,
    last_seq bigint NOT NULL,
    CONSTRAINT change_head_last_seq_check CHECK ((last_seq >= 0)),
    CONSTRAINT change_head_pkey PRIMARY KEY (org_id)
) WITH (fillfactor=50);
CREATE TABLE closure (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    site_id uuid,
    from_day date NOT NULL,
    to_day date NOT NULL,
    reason text NOT NULL DEFAULT ''::text,
    entered_on date NOT NULL,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    archived_at timestamp with time zone,
    create_hash bytea NOT NULL,
    CONSTRAINT closure_check CHECK ((from_day <= to_day)),
    CONSTRAINT closure_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisation(org_id),
    CONSTRAINT closure_org_id_site_id_fkey FOREIGN KEY (org_id, site_id) REFERENCES site(org_id, id),
    CONSTRAINT closure_pkey PRIMARY KEY (org_id, id)
);
CREATE TABLE customer (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    name text NOT NULL,
    contact_name text NOT NULL DEFAULT ''::text,
    email text NOT NULL DEFAULT ''::text,
    phone text NOT NULL DEFAULT ''::text,
    note text NOT NULL DEFAULT ''::text,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    archived_at timestamp with time zone,
    create_hash bytea NOT NULL,
    CONSTRAINT customer_name_check CHECK ((name <> ''::text)),
    CONSTRAINT customer_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisation(org_id),
    CONSTRAINT customer_pkey PRIMARY KEY (org_id, id)
);
CREATE TABLE due_item (
    org_id uuid NOT NULL,
    routine_id uuid NOT NULL,
    site_id uuid NOT NULL,
    tank_id uuid NOT NULL,
    work_kind text COLLATE "C" NOT NULL,
    performed_by text NOT NULL,
    consequence_class smallint NOT NULL,
    nominal_due date NOT NULL,
    ordinal integer NOT NULL,
    earliest date NOT NULL,
    due date NOT NULL,
    latest date NOT NULL,
    late_from date NOT NULL,
    next_earliest date NOT NULL,
    state text NOT NULL DEFAULT ''::text,
    done_percent smallint NOT NULL DEFAULT 0,
    no_access_count integer NOT NULL DEFAULT 0,
    level_percent double precision NOT NULL DEFAULT 0,
    facts jsonb NOT NULL,
    CONSTRAINT due_item_org_id_routine_id_fkey FOREIGN KEY (org_id, routine_id) REFERENCES routine(org_id, id),
    CONSTRAINT due_item_pkey PRIMARY KEY (org_id, routine_id),
    CONSTRAINT due_item_state_check CHECK ((state = ANY (ARRAY[''::text, 'waiting'::text, 'blocked'::text])))
) WITH (fillfactor=80);
CREATE TABLE equipment (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    tank_id uuid NOT NULL,
    kind text NOT NULL,
    label text NOT NULL,
    power_w double precision,
    installed_on date,
    note text NOT NULL DEFAULT ''::text,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    archived_at timestamp with time zone,
    create_hash bytea NOT NULL,
    CONSTRAINT equipment_kind_check CHECK ((kind = ANY (ARRAY['light'::text, 'return_pump'::text, 'wavemaker'::text, 'heater'::text, 'chiller'::text, 'skimmer'::text, 'filter'::text, 'top_off'::text, 'doser'::text, 'uv'::text, 'co2'::text, 'feeder'::text, 'fill_valve'::text, 'other'::text]))),
    CONSTRAINT equipment_label_check CHECK ((label <> ''::text)),
    CONSTRAINT equipment_org_id_tank_id_fkey FOREIGN KEY (org_id, tank_id) REFERENCES tank(org_id, id),
    CONSTRAINT equipment_org_id_tank_id_id_key UNIQUE (org_id, tank_id, id),
    CONSTRAINT equipment_pkey PRIMARY KEY (org_id, id),
    CONSTRAINT equipment_power_w_check CHECK ((power_w >= (0)::double precision))
);
CREATE TABLE item_close (
    org_id uuid NOT NULL,
    routine_id uuid NOT NULL,
    nominal_due date NOT NULL,
    ordinal integer NOT NULL,
    record_id uuid NOT NULL,
    CONSTRAINT item_close_org_id_record_id_fkey FOREIGN KEY (org_id, record_id) REFERENCES work_record(org_id, id),
    CONSTRAINT item_close_org_id_record_id_routine_id_key UNIQUE (org_id, record_id, routine_id),
    CONSTRAINT item_close_org_id_routine_id_fkey FOREIGN KEY (org_id, routine_id) REFERENCES routine(org_id, id),
    CONSTRAINT item_close_pkey PRIMARY KEY (org_id, routine_id, nominal_due, ordinal)
);
CREATE TABLE key_hash (
    hash bytea NOT NULL,
    org_id uuid NOT NULL,
    key_id uuid NOT NULL,
    member_id uuid NOT NULL,
    expires_at timestamp with time zone,
    revoked_at timestamp with time zone,
    CONSTRAINT key_hash_pkey PRIMARY KEY (hash)
);
CREATE TABLE livestock (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    tank_id uuid NOT NULL,
    species_code text,
    species_own uuid,
    form text NOT NULL,
    label text NOT NULL DEFAULT ''::text,
    source text NOT NULL DEFAULT ''::text,
    place text NOT NULL DEFAULT ''::text,
    state text NOT NULL,
    arrived_on date NOT NULL,
    count integer NOT NULL,
    permit_ref text NOT NULL DEFAULT ''::text,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    archived_at timestamp with time zone,
    create_hash bytea NOT NULL,
    CONSTRAINT livestock_check CHECK ((num_nonnulls(species_code, species_own) = 1)),
    CONSTRAINT livestock_count_check CHECK ((count >= 0)),
    CONSTRAINT livestock_form_check CHECK ((form = ANY (ARRAY['individual'::text, 'colony'::text, 'fragment'::text, 'mat'::text]))),
    CONSTRAINT livestock_org_id_species_own_fkey FOREIGN KEY (org_id, species_own) REFERENCES species(org_id, id),
    CONSTRAINT livestock_org_id_tank_id_fkey FOREIGN KEY (org_id, tank_id) REFERENCES tank(org_id, id),
    CONSTRAINT livestock_org_id_tank_id_id_key UNIQUE (org_id, tank_id, id),
    CONSTRAINT livestock_pkey PRIMARY KEY (org_id, id),
    CONSTRAINT livestock_species_code_fkey FOREIGN KEY (species_code) REFERENCES catalogue_species(code),
    CONSTRAINT livestock_state_check CHECK ((state = ANY (ARRAY['quarantine'::text, 'settling'::text, 'settled'::text, 'at_risk'::text])))
);
CREATE TABLE livestock_event (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    livestock_id uuid NOT NULL,
    kind text NOT NULL,
    day date NOT NULL,
    delta integer NOT NULL,
    reason text NOT NULL DEFAULT ''::text,
    recorded_at timestamp with time zone NOT NULL,
    actor_id uuid NOT NULL,
    create_hash bytea NOT NULL,
    CONSTRAINT livestock_event_delta_check CHECK ((delta <> 0)),
    CONSTRAINT livestock_event_kind_check CHECK ((kind = ANY (ARRAY['arrival'::text, 'birth'::text, 'split'::text, 'death'::text, 'removal'::text, 'correction'::text]))),
    CONSTRAINT livestock_event_org_id_livestock_id_fkey FOREIGN KEY (org_id, livestock_id) REFERENCES livestock(org_id, id),
    CONSTRAINT livestock_event_pkey PRIMARY KEY (org_id, id)
);
CREATE TABLE member (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    name text NOT NULL,
    email text NOT NULL DEFAULT ''::text,
    phone text NOT NULL DEFAULT ''::text,
    role text NOT NULL,
    time_zone text NOT NULL,
    start_lat double precision,
    start_lon double precision,
    end_lat double precision,
    end_lon double precision,
    shifts jsonb NOT NULL DEFAULT '[]'::jsonb,
    absences jsonb NOT NULL DEFAULT '[]'::jsonb,
    skills text[] NOT NULL DEFAULT '{}'::text[],
    vehicle jsonb,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    archived_at timestamp with time zone,
    create_hash bytea NOT NULL,
    CONSTRAINT member_check CHECK (((start_lat IS NULL) = (start_lon IS NULL))),
    CONSTRAINT member_check1 CHECK (((end_lat IS NULL) = (end_lon IS NULL))),
    CONSTRAINT member_end_lat_check CHECK (((end_lat >= ('-90'::integer)::double precision) AND (end_lat <= (90)::double precision))),
    CONSTRAINT member_end_lon_check CHECK (((end_lon >= ('-180'::integer)::double precision) AND (end_lon <= (180)::double precision))),
    CONSTRAINT member_name_check CHECK ((name <> ''::text)),
    CONSTRAINT member_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisation(org_id),
    CONSTRAINT member_pkey PRIMARY KEY (org_id, id),
    CONSTRAINT member_role_check CHECK ((role = ANY (ARRAY['owner'::text, 'coordinator'::text, 'technician'::text, 'viewer'::text, 'integration'::text]))),
    CONSTRAINT member_start_lat_check CHECK (((start_lat >= ('-90'::integer)::double precision) AND (start_lat <= (90)::double precision))),
    CONSTRAINT member_start_lon_check CHECK (((start_lon >= ('-180'::integer)::double precision) AND (start_lon <= (180)::double precision))),
    CONSTRAINT member_time_zone_check CHECK ((time_zone <> ''::text))
);
CREATE TABLE organisation (
    org_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    name text NOT NULL,
    kind text NOT NULL,
    time_zone text NOT NULL,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    CONSTRAINT organisation_kind_check CHECK ((kind = ANY (ARRAY['business'::text, 'club'::text]))),
    CONSTRAINT organisation_name_check CHECK ((name <> ''::text)),
    CONSTRAINT organisation_pkey PRIMARY KEY (org_id),
    CONSTRAINT organisation_time_zone_check CHECK ((time_zone <> ''::text))
);
CREATE TABLE organisation_directory (
    org_id uuid NOT NULL,
    created_at timestamp with time zone NOT NULL,
    CONSTRAINT organisation_directory_pkey PRIMARY KEY (org_id)
);
CREATE TABLE parameter (
    code text NOT NULL,
    name text NOT NULL,
    unit text NOT NULL,
    low double precision NOT NULL,
    high double precision NOT NULL,
    CONSTRAINT parameter_check CHECK ((low < high)),
    CONSTRAINT parameter_pkey PRIMARY KEY (code)
);
CREATE TABLE pause (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    tank_id uuid NOT NULL,
    routine_id uuid,
    from_day date NOT NULL,
    to_day date,
    reason text NOT NULL DEFAULT ''::text,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    archived_at timestamp with time zone,
    create_hash bytea NOT NULL,
    CONSTRAINT pause_check CHECK ((to_day > from_day)),
    CONSTRAINT pause_org_id_tank_id_fkey FOREIGN KEY (org_id, tank_id) REFERENCES tank(org_id, id),
    CONSTRAINT pause_org_id_tank_id_routine_id_fkey FOREIGN KEY (org_id, tank_id, routine_id) REFERENCES routine(org_id, tank_id, id),
    CONSTRAINT pause_pkey PRIMARY KEY (org_id, id)
);
CREATE TABLE ramp_event (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    routine_id uuid NOT NULL,
    kind text NOT NULL,
    day date NOT NULL,
    reason text NOT NULL,
    recorded_at timestamp with time zone NOT NULL,
    actor_id uuid NOT NULL,
    CONSTRAINT ramp_event_kind_check CHECK ((kind = ANY (ARRAY['hold'::text, 'resume'::text, 'step_back'::text]))),
    CONSTRAINT ramp_event_org_id_routine_id_fkey FOREIGN KEY (org_id, routine_id) REFERENCES routine(org_id, id),
    CONSTRAINT ramp_event_pkey PRIMARY KEY (org_id, id)
);
CREATE TABLE reading (
    org_id uuid NOT NULL,
    tank_id uuid NOT NULL,
    parameter text NOT NULL,
    taken_at timestamp with time zone NOT NULL,
    id uuid NOT NULL,
    value double precision NOT NULL,
    method text NOT NULL DEFAULT ''::text,
    record_id uuid,
    CONSTRAINT reading_org_id_tank_id_fkey FOREIGN KEY (org_id, tank_id) REFERENCES tank(org_id, id),
    CONSTRAINT reading_parameter_fkey FOREIGN KEY (parameter) REFERENCES parameter(code),
    CONSTRAINT reading_pkey PRIMARY KEY (org_id, tank_id, parameter, taken_at, id)
) PARTITION BY RANGE (taken_at);
CREATE TABLE round (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    member_id uuid NOT NULL,
    day date NOT NULL,
    start_at timestamp with time zone,
    end_at timestamp with time zone,
    drive_minutes integer NOT NULL DEFAULT 0,
    drive_m integer NOT NULL DEFAULT 0,
    overtime_minutes integer NOT NULL DEFAULT 0,
    unserved jsonb NOT NULL DEFAULT '[]'::jsonb,
    unclear text[] NOT NULL DEFAULT '{}'::text[],
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    CONSTRAINT round_org_id_member_id_day_key UNIQUE (org_id, member_id, day),
    CONSTRAINT round_org_id_member_id_fkey FOREIGN KEY (org_id, member_id) REFERENCES member(org_id, id),
    CONSTRAINT round_pkey PRIMARY KEY (org_id, id)
);
CREATE TABLE routine (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    site_id uuid NOT NULL,
    tank_id uuid NOT NULL,
    equipment_id uuid,
    livestock_id uuid,
    name text NOT NULL,
    work_kind text NOT NULL,
    consequence_class smallint NOT NULL,
    part_of_day text NOT NULL DEFAULT 'any'::text,
    active_minutes integer NOT NULL,
    waits jsonb NOT NULL DEFAULT '[]'::jsonb,
    materials jsonb NOT NULL DEFAULT '[]'::jsonb,
    skill text NOT NULL DEFAULT ''::text,
    first_day date NOT NULL,
    last_day date,
    catch_up text NOT NULL DEFAULT 'merge'::text,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    archived_at timestamp with time zone,
    create_hash bytea NOT NULL,
    CONSTRAINT routine_active_minutes_check CHECK ((active_minutes >= 0)),
    CONSTRAINT routine_catch_up_check CHECK ((catch_up = ANY (ARRAY['merge'::text, 'each'::text]))),
    CONSTRAINT routine_check CHECK ((last_day >= first_day)),
    CONSTRAINT routine_consequence_class_check CHECK (((consequence_class >= 1) AND (consequence_class <= 4))),
    CONSTRAINT routine_name_check CHECK ((name <> ''::text)),
    CONSTRAINT routine_org_id_site_id_tank_id_fkey FOREIGN KEY (org_id, site_id, tank_id) REFERENCES tank(org_id, site_id, id),
    CONSTRAINT routine_org_id_tank_id_equipment_id_fkey FOREIGN KEY (org_id, tank_id, equipment_id) REFERENCES equipment(org_id, tank_id, id),
    CONSTRAINT routine_org_id_tank_id_id_key UNIQUE (org_id, tank_id, id),
    CONSTRAINT routine_org_id_tank_id_livestock_id_fkey FOREIGN KEY (org_id, tank_id, livestock_id) REFERENCES livestock(org_id, tank_id, id),
    CONSTRAINT routine_part_of_day_check CHECK ((part_of_day = ANY (ARRAY['any'::text, 'morning'::text, 'midday'::text, 'evening'::text]))),
    CONSTRAINT routine_pkey PRIMARY KEY (org_id, id),
    CONSTRAINT routine_work_kind_check CHECK ((work_kind = ANY (ARRAY['feeding'::text, 'target_feeding'::text, 'water_change'::text, 'filter_sock_change'::text, 'water_test'::text, 'top_off'::text, 'dosing'::text, 'glass_cleaning'::text, 'light_step'::text, 'equipment_service'::text, 'arrival'::text, 'inspection'::text, 'other'::text])))
);
CREATE TABLE routine_revision (
    org_id uuid NOT NULL,
    routine_id uuid NOT NULL,
    from_day date NOT NULL,
    tank_id uuid NOT NULL,
    performed_by text NOT NULL,
    cadence_kind text NOT NULL,
    every integer,
    unit text,
    rule text,
    on_day date,
    parent_id uuid,
    gap_unit text,
    gap_least integer,
    gap_greatest integer,
    parameter text,
    ramp_light_id uuid,
    ramp_from_percent double precision,
    ramp_to_percent double precision,
    ramp_days integer,
    ramp_step_days integer,
    ramp_curve text,
    ramp_greatest_rise double precision,
    days_early integer NOT NULL,
    days_late integer NOT NULL,
    active_months smallint NOT NULL DEFAULT 0,
    actor_id uuid NOT NULL,
    CONSTRAINT routine_revision_active_months_check CHECK (((active_months >= 0) AND (active_months <= 8190))),
    CONSTRAINT routine_revision_cadence_kind_check CHECK ((cadence_kind = ANY (ARRAY['interval'::text, 'calendar'::text, 'once'::text, 'joined'::text, 'reading'::text, 'ramp'::text]))),
    CONSTRAINT routine_revision_check CHECK ((gap_greatest >= gap_least)),
    CONSTRAINT routine_revision_check1 CHECK ((parent_id <> routine_id)),
    CONSTRAINT routine_revision_check2 CHECK (
CASE cadence_kind
    WHEN 'interval'::text THEN (num_nulls(every, unit) = 0)
    WHEN 'calendar'::text THEN (rule IS NOT NULL)
    WHEN 'once'::text THEN (on_day IS NOT NULL)
    WHEN 'joined'::text THEN (num_nulls(parent_id, gap_unit, gap_least, gap_greatest) = 0)
    WHEN 'reading'::text THEN (parameter IS NOT NULL)
    ELSE (num_nulls(ramp_from_percent, ramp_to_percent, ramp_days, ramp_step_days, ramp_curve, ramp_greatest_rise) = 0)
END),
    CONSTRAINT routine_revision_days_early_check CHECK ((days_early >= 0)),
    CONSTRAINT routine_revision_days_late_check CHECK ((days_late >= 0)),
    CONSTRAINT routine_revision_every_check CHECK ((every > 0)),
    CONSTRAINT routine_revision_gap_least_check CHECK ((gap_least >= 0)),
    CONSTRAINT routine_revision_gap_unit_check CHECK ((gap_unit = ANY (ARRAY['minute'::text, 'day'::text]))),
    CONSTRAINT routine_revision_org_id_tank_id_parent_id_fkey FOREIGN KEY (org_id, tank_id, parent_id) REFERENCES routine(org_id, tank_id, id),
    CONSTRAINT routine_revision_org_id_tank_id_ramp_light_id_fkey FOREIGN KEY (org_id, tank_id, ramp_light_id) REFERENCES equipment(org_id, tank_id, id),
    CONSTRAINT routine_revision_org_id_tank_id_routine_id_fkey FOREIGN KEY (org_id, tank_id, routine_id) REFERENCES routine(org_id, tank_id, id),
    CONSTRAINT routine_revision_performed_by_check CHECK ((performed_by = ANY (ARRAY['technician'::text, 'keeper'::text, 'shop'::text, 'device'::text]))),
    CONSTRAINT routine_revision_pkey PRIMARY KEY (org_id, routine_id, from_day),
    CONSTRAINT routine_revision_ramp_curve_check CHECK ((ramp_curve = ANY (ARRAY['linear'::text, 'geometric'::text]))),
    CONSTRAINT routine_revision_ramp_days_check CHECK ((ramp_days > 0)),
    CONSTRAINT routine_revision_ramp_from_percent_check CHECK (((ramp_from_percent >= (0)::double precision) AND (ramp_from_percent <= (100)::double precision))),
    CONSTRAINT routine_revision_ramp_greatest_rise_check CHECK ((ramp_greatest_rise > (0)::double precision)),
    CONSTRAINT routine_revision_ramp_step_days_check CHECK ((ramp_step_days > 0)),
    CONSTRAINT routine_revision_ramp_to_percent_check CHECK (((ramp_to_percent >= (0)::double precision) AND (ramp_to_percent <= (100)::double precision))),
    CONSTRAINT routine_revision_unit_check CHECK ((unit = ANY (ARRAY['day'::text, 'week'::text, 'month'::text])))
);
CREATE TABLE site (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    name text NOT NULL,
    customer_id uuid,
    street text NOT NULL DEFAULT ''::text,
    postal_code text NOT NULL DEFAULT ''::text,
    city text NOT NULL DEFAULT ''::text,
    region text NOT NULL DEFAULT ''::text,
    country text NOT NULL DEFAULT ''::text,
    lat double precision NOT NULL,
    lon double precision NOT NULL,
    time_zone text NOT NULL,
    access_windows jsonb NOT NULL DEFAULT '[]'::jsonb,
    no_access_weekdays smallint NOT NULL DEFAULT 0,
    no_access_entered_on date NOT NULL,
    water_mode text NOT NULL,
    responsible_member_id uuid,
    carry_distance_m integer NOT NULL DEFAULT 0,
    carry_floors integer NOT NULL DEFAULT 0,
    setup_minutes integer NOT NULL DEFAULT 5,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    archived_at timestamp with time zone,
    create_hash bytea NOT NULL,
    CONSTRAINT site_carry_distance_m_check CHECK ((carry_distance_m >= 0)),
    CONSTRAINT site_carry_floors_check CHECK ((carry_floors >= 0)),
    CONSTRAINT site_lat_check CHECK (((lat >= ('-90'::integer)::double precision) AND (lat <= (90)::double precision))),
    CONSTRAINT site_lon_check CHECK (((lon >= ('-180'::integer)::double precision) AND (lon <= (180)::double precision))),
    CONSTRAINT site_name_check CHECK ((name <> ''::text)),
    CONSTRAINT site_org_id_customer_id_fkey FOREIGN KEY (org_id, customer_id) REFERENCES customer(org_id, id),
    CONSTRAINT site_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisation(org_id),
    CONSTRAINT site_org_id_responsible_member_id_fkey FOREIGN KEY (org_id, responsible_member_id) REFERENCES member(org_id, id),
    CONSTRAINT site_pkey PRIMARY KEY (org_id, id),
    CONSTRAINT site_setup_minutes_check CHECK ((setup_minutes >= 0)),
    CONSTRAINT site_time_zone_check CHECK ((time_zone <> ''::text)),
    CONSTRAINT site_water_mode_check CHECK ((water_mode = ANY (ARRAY['hauled'::text, 'mixed_on_site'::text, 'none'::text])))
);
CREATE TABLE site_access_notes (
    org_id uuid NOT NULL,
    site_id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    notes text NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    CONSTRAINT site_access_notes_org_id_site_id_fkey FOREIGN KEY (org_id, site_id) REFERENCES site(org_id, id),
    CONSTRAINT site_access_notes_pkey PRIMARY KEY (org_id, site_id)
);
CREATE TABLE species (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    scientific_name text NOT NULL,
    synonyms text[] NOT NULL DEFAULT '{}'::text[],
    trade_name text NOT NULL DEFAULT ''::text,
    species_group text NOT NULL,
    counting text NOT NULL,
    facts jsonb NOT NULL DEFAULT '[]'::jsonb,
    cautions jsonb NOT NULL DEFAULT '[]'::jsonb,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    archived_at timestamp with time zone,
    create_hash bytea NOT NULL,
    CONSTRAINT species_counting_check CHECK ((counting = ANY (ARRAY['individual'::text, 'colony'::text, 'fragment'::text, 'mat'::text]))),
    CONSTRAINT species_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisation(org_id),
    CONSTRAINT species_pkey PRIMARY KEY (org_id, id),
    CONSTRAINT species_scientific_name_check CHECK ((scientific_name <> ''::text)),
    CONSTRAINT species_species_group_check CHECK ((species_group = ANY (ARRAY['soft'::text, 'large_polyp_stony'::text, 'small_polyp_stony'::text, 'non_photosynthetic'::text, 'gorgonian'::text, 'anemone'::text, 'fish'::text, 'crustacean'::text, 'mollusc'::text, 'echinoderm'::text, 'pest'::text, 'other'::text])))
);
CREATE TABLE stored_answer (
    org_id uuid NOT NULL,
    actor_id uuid NOT NULL,
    key text NOT NULL,
    fingerprint bytea NOT NULL,
    status smallint NOT NULL DEFAULT 0,
    etag text NOT NULL DEFAULT ''::text,
    location text NOT NULL DEFAULT ''::text,
    body bytea NOT NULL DEFAULT '\x'::bytea,
    created_at timestamp with time zone NOT NULL,
    CONSTRAINT stored_answer_key_check CHECK ((key <> ''::text)),
    CONSTRAINT stored_answer_pkey PRIMARY KEY (org_id, actor_id, key)
);
CREATE TABLE tank (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    site_id uuid NOT NULL,
    name text NOT NULL,
    kind text NOT NULL,
    status text NOT NULL,
    form text NOT NULL,
    length_cm double precision,
    width_cm double precision,
    height_cm double precision,
    diameter_cm double precision,
    bow_cm double precision,
    stated_l double precision,
    displacement_l double precision NOT NULL DEFAULT 0,
    sump_l double precision NOT NULL DEFAULT 0,
    net_l double precision NOT NULL,
    targets jsonb NOT NULL DEFAULT '[]'::jsonb,
    started_on date,
    note text NOT NULL DEFAULT ''::text,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    archived_at timestamp with time zone,
    create_hash bytea NOT NULL,
    CONSTRAINT tank_bow_cm_check CHECK ((bow_cm > (0)::double precision)),
    CONSTRAINT tank_check CHECK (((status = 'archived'::text) = (archived_at IS NOT NULL))),
    CONSTRAINT tank_diameter_cm_check CHECK ((diameter_cm > (0)::double precision)),
    CONSTRAINT tank_displacement_l_check CHECK ((displacement_l >= (0)::double precision)),
    CONSTRAINT tank_form_check CHECK ((form = ANY (ARRAY['box'::text, 'cylinder'::text, 'hexagon'::text, 'bow_front'::text, 'stated'::text]))),
    CONSTRAINT tank_height_cm_check CHECK ((height_cm > (0)::double precision)),
    CONSTRAINT tank_kind_check CHECK ((kind = ANY (ARRAY['soft_mixed'::text, 'small_polyp'::text, 'anemone'::text, 'fish_only'::text, 'quarantine'::text, 'club_display'::text, 'pond'::text, 'other'::text]))),
    CONSTRAINT tank_length_cm_check CHECK ((length_cm > (0)::double precision)),
    CONSTRAINT tank_name_check CHECK ((name <> ''::text)),
    CONSTRAINT tank_net_l_check CHECK ((net_l > (0)::double precision)),
    CONSTRAINT tank_org_id_fkey FOREIGN KEY (org_id) REFERENCES organisation(org_id),
    CONSTRAINT tank_org_id_site_id_fkey FOREIGN KEY (org_id, site_id) REFERENCES site(org_id, id),
    CONSTRAINT tank_org_id_site_id_id_key UNIQUE (org_id, site_id, id),
    CONSTRAINT tank_pkey PRIMARY KEY (org_id, id),
    CONSTRAINT tank_stated_l_check CHECK ((stated_l > (0)::double precision)),
    CONSTRAINT tank_status_check CHECK ((status = ANY (ARRAY['new'::text, 'cycling'::text, 'maturing'::text, 'established'::text, 'fallow'::text, 'paused'::text, 'archived'::text]))),
    CONSTRAINT tank_sump_l_check CHECK ((sump_l >= (0)::double precision)),
    CONSTRAINT tank_width_cm_check CHECK ((width_cm > (0)::double precision))
);
CREATE TABLE visit (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    version integer NOT NULL DEFAULT 1,
    site_id uuid NOT NULL,
    day date NOT NULL,
    member_id uuid NOT NULL,
    state text NOT NULL,
    position integer NOT NULL,
    arrive_at timestamp with time zone,
    begin_at timestamp with time zone,
    depart_at timestamp with time zone,
    service_minutes integer NOT NULL DEFAULT 0,
    drive_minutes integer NOT NULL DEFAULT 0,
    drive_m integer NOT NULL DEFAULT 0,
    started_at timestamp with time zone,
    finished_at timestamp with time zone,
    created_at timestamp with time zone NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    CONSTRAINT visit_org_id_member_id_day_site_id_key UNIQUE (org_id, member_id, day, site_id),
    CONSTRAINT visit_org_id_member_id_fkey FOREIGN KEY (org_id, member_id) REFERENCES member(org_id, id),
    CONSTRAINT visit_org_id_site_id_fkey FOREIGN KEY (org_id, site_id) REFERENCES site(org_id, id),
    CONSTRAINT visit_pkey PRIMARY KEY (org_id, id),
    CONSTRAINT visit_position_check CHECK (("position" >= 0)),
    CONSTRAINT visit_state_check CHECK ((state = ANY (ARRAY['planned'::text, 'under_way'::text, 'finished'::text, 'abandoned'::text])))
);
CREATE TABLE visit_item (
    org_id uuid NOT NULL,
    visit_id uuid NOT NULL,
    routine_id uuid NOT NULL,
    nominal_due date NOT NULL,
    ordinal integer NOT NULL,
    added_later boolean NOT NULL DEFAULT false,
    earliest date NOT NULL,
    due date NOT NULL,
    latest date NOT NULL,
    late_since date,
    state text NOT NULL,
    done_percent smallint NOT NULL DEFAULT 0,
    no_access_count integer NOT NULL DEFAULT 0,
    level_percent double precision NOT NULL DEFAULT 0,
    facts jsonb NOT NULL DEFAULT '[]'::jsonb,
    CONSTRAINT visit_item_org_id_routine_id_fkey FOREIGN KEY (org_id, routine_id) REFERENCES routine(org_id, id),
    CONSTRAINT visit_item_org_id_visit_id_fkey FOREIGN KEY (org_id, visit_id) REFERENCES visit(org_id, id),
    CONSTRAINT visit_item_pkey PRIMARY KEY (org_id, visit_id, routine_id, nominal_due, ordinal),
    CONSTRAINT visit_item_state_check CHECK ((state = ANY (ARRAY['early'::text, 'due'::text, 'overdue'::text, 'waiting'::text, 'blocked'::text])))
);
CREATE TABLE work_record (
    org_id uuid NOT NULL,
    id uuid NOT NULL,
    site_id uuid NOT NULL,
    tank_id uuid NOT NULL,
    routine_id uuid,
    work_kind text NOT NULL,
    named_nominal_due date,
    named_ordinal integer,
    done_on date NOT NULL,
    done_at timestamp with time zone,
    received_at timestamp with time zone NOT NULL,
    result text NOT NULL,
    share_percent smallint,
    reason text NOT NULL DEFAULT ''::text,
    with_joined boolean NOT NULL DEFAULT false,
    new_due_on date,
    minutes integer,
    amounts jsonb NOT NULL DEFAULT '[]'::jsonb,
    level_percent double precision,
    note text NOT NULL DEFAULT ''::text,
    done_by_kind text NOT NULL,
    done_by_id uuid,
    done_by_name text NOT NULL DEFAULT ''::text,
    recorded_by uuid NOT NULL,
    visit_id uuid,
    voided_at timestamp with time zone,
    voided_by uuid,
    void_reason text NOT NULL DEFAULT ''::text,
    create_hash bytea NOT NULL,
    CONSTRAINT work_record_check CHECK (((result = 'partly'::text) = (share_percent IS NOT NULL))),
    CONSTRAINT work_record_check1 CHECK (((named_nominal_due IS NULL) = (named_ordinal IS NULL))),
    CONSTRAINT work_record_check2 CHECK (((voided_at IS NULL) = (voided_by IS NULL))),
    CONSTRAINT work_record_done_by_kind_check CHECK ((done_by_kind = ANY (ARRAY['member'::text, 'keeper'::text, 'device'::text, 'other'::text]))),
    CONSTRAINT work_record_level_percent_check CHECK (((level_percent >= (0)::double precision) AND (level_percent <= (100)::double precision))),
    CONSTRAINT work_record_minutes_check CHECK ((minutes >= 0)),
    CONSTRAINT work_record_org_id_site_id_tank_id_fkey FOREIGN KEY (org_id, site_id, tank_id) REFERENCES tank(org_id, site_id, id),
    CONSTRAINT work_record_org_id_tank_id_routine_id_fkey FOREIGN KEY (org_id, tank_id, routine_id) REFERENCES routine(org_id, tank_id, id),
    CONSTRAINT work_record_org_id_visit_id_fkey FOREIGN KEY (org_id, visit_id) REFERENCES visit(org_id, id),
    CONSTRAINT work_record_pkey PRIMARY KEY (org_id, id),
    CONSTRAINT work_record_result_check CHECK ((result = ANY (ARRAY['done'::text, 'partly'::text, 'skipped'::text, 'no_access'::text]))),
    CONSTRAINT work_record_share_percent_check CHECK (((share_percent >= 1) AND (share_percent <= 100))),
    CONSTRAINT work_record_work_kind_check CHECK ((work_kind = ANY (ARRAY['feeding'::text, 'target_feeding'::text, 'water_change'::text, 'filter_sock_change'::text, 'water_test'::text, 'top_off'::text, 'dosing'::text, 'glass_cleaning'::text, 'light_step'::text, 'equipment_service'::text, 'arrival'::text, 'inspection'::text, 'other'::text])))
);

CREATE INDEX access_key_member_idx ON public.access_key USING btree (org_id, member_id);
CREATE INDEX closure_site_idx ON public.closure USING btree (org_id, site_id);
CREATE INDEX due_item_order_idx ON public.due_item USING btree (org_id, consequence_class, latest, tank_id, work_kind, routine_id, nominal_due, ordinal) INCLUDE (earliest);
CREATE INDEX due_item_site_idx ON public.due_item USING btree (org_id, site_id);
CREATE INDEX due_item_tank_idx ON public.due_item USING btree (org_id, tank_id);
CREATE INDEX key_hash_key_idx ON public.key_hash USING btree (org_id, key_id);
CREATE INDEX livestock_event_livestock_idx ON public.livestock_event USING btree (org_id, livestock_id, day, id);
CREATE INDEX pause_tank_idx ON public.pause USING btree (org_id, tank_id);
CREATE INDEX ramp_event_routine_idx ON public.ramp_event USING btree (org_id, routine_id, day, id);
CREATE INDEX reading_record_idx ON ONLY public.reading USING btree (org_id, record_id) WHERE (record_id IS NOT NULL);
CREATE INDEX round_day_idx ON public.round USING btree (org_id, day, member_id);
CREATE INDEX routine_revision_parent_idx ON public.routine_revision USING btree (org_id, parent_id) WHERE (parent_id IS NOT NULL);
CREATE INDEX routine_site_idx ON public.routine USING btree (org_id, site_id);
CREATE INDEX site_customer_idx ON public.site USING btree (org_id, customer_id);
CREATE INDEX site_member_idx ON public.site USING btree (org_id, responsible_member_id);
CREATE INDEX stored_answer_created_idx ON public.stored_answer USING btree (org_id, created_at);
CREATE INDEX visit_day_idx ON public.visit USING btree (org_id, day, member_id, "position", id);
CREATE INDEX visit_site_idx ON public.visit USING btree (org_id, site_id, day);
CREATE INDEX work_record_routine_idx ON public.work_record USING btree (org_id, routine_id, done_on, id) WHERE (routine_id IS NOT NULL);
CREATE INDEX work_record_site_idx ON public.work_record USING btree (org_id, site_id, done_on, id);
CREATE INDEX work_record_tank_idx ON public.work_record USING btree (org_id, tank_id, done_on, id);

CREATE OR REPLACE FUNCTION public.ensure_reading_month(wanted date)
 RETURNS void
 LANGUAGE plpgsql
 SECURITY DEFINER
 SET search_path TO 'pg_catalog', 'pg_temp'
AS $function$
DECLARE
    first date := date_trunc('month', wanted)::date;
    part text := 'reading_' || to_char(first, 'YYYYMM');
BEGIN
    IF wanted < date '2000-01-01' OR wanted > date '2199-12-31' THEN
        RAISE EXCEPTION 'no readings are kept for %', wanted USING ERRCODE = 'check_violation';
    END IF;
    IF to_regclass('public.' || part) IS NOT NULL THEN
        RETURN;
    END IF;
    PERFORM pg_advisory_xact_lock(hashtext('tankward.' || part));
    -- Asked of the table: to_regclass may still remember that there was none.
    IF EXISTS (SELECT 1 FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relname = part) THEN
        RETURN;
    END IF;
    EXECUTE format('CREATE TABLE public.%I PARTITION OF public.reading FOR VALUES FROM (%L) TO (%L)',
        part, first::text || ' 00:00:00+00', (first + interval '1 month')::date::text || ' 00:00:00+00');
END
$function$;

ALTER TABLE access_key ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE audit_entry ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE catalogue_species DISABLE ROW LEVEL SECURITY, NO FORCE ROW LEVEL SECURITY;
ALTER TABLE change ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE change_head ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE closure ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE customer ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE due_item ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE equipment ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE item_close ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE key_hash DISABLE ROW LEVEL SECURITY, NO FORCE ROW LEVEL SECURITY;
ALTER TABLE livestock ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE livestock_event ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE member ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE organisation ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE organisation_directory DISABLE ROW LEVEL SECURITY, NO FORCE ROW LEVEL SECURITY;
ALTER TABLE parameter DISABLE ROW LEVEL SECURITY, NO FORCE ROW LEVEL SECURITY;
ALTER TABLE pause ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE ramp_event ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE reading ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE round ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE routine ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE routine_revision ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE site ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE site_access_notes ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE species ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE stored_answer ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE tank ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE visit ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE visit_item ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;
ALTER TABLE work_record ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY;

CREATE POLICY organisation_wall ON access_key FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON audit_entry FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON change FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON change_head FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON closure FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON customer FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON due_item FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON equipment FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON item_close FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON livestock FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON livestock_event FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON member FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON organisation FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON pause FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON ramp_event FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON reading FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON round FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON routine FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON routine_revision FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON site FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON site_access_notes FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON species FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON stored_answer FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON tank FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON visit FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON visit_item FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);
CREATE POLICY organisation_wall ON work_record FOR ALL USING (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid) WITH CHECK (org_id = (NULLIF(current_setting('tankward.org_id'::text, true), ''::text))::uuid);

GRANT DELETE, INSERT, SELECT, UPDATE ON access_key TO tankward_app;
GRANT INSERT, SELECT ON audit_entry TO tankward_app;
GRANT SELECT ON catalogue_species TO tankward_app;
GRANT INSERT, SELECT ON change TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON change_head TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON closure TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON customer TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON due_item TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON equipment TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON item_close TO tankward_app;
GRANT INSERT, SELECT, UPDATE ON key_hash TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON livestock TO tankward_app;
GRANT INSERT, SELECT ON livestock_event TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON member TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON organisation TO tankward_app;
GRANT INSERT, SELECT ON organisation_directory TO tankward_app;
GRANT SELECT ON parameter TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON pause TO tankward_app;
GRANT INSERT, SELECT ON ramp_event TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON reading TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON round TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON routine TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON routine_revision TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON site TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON site_access_notes TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON species TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON stored_answer TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON tank TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON visit TO tankward_app;
GRANT DELETE, INSERT, SELECT, UPDATE ON visit_item TO tankward_app;
GRANT INSERT, SELECT ON work_record TO tankward_app;

GRANT EXECUTE ON FUNCTION ensure_reading_month(date) TO tankward_app;

COMMENT ON TABLE access_key IS 'A secret a member calls the service with; only its hash is kept, in key_hash.';
COMMENT ON TABLE audit_entry IS 'Who carried out which command on what.';
COMMENT ON TABLE catalogue_species IS 'Codes of the built-in species catalogue.';
COMMENT ON TABLE change IS 'What changed, in commit order per organisation. Names of fields only, never values.';
COMMENT ON TABLE change_head IS 'Raised by the last statement of every writing transaction, so that numbers are in commit order without gaps.';
COMMENT ON TABLE closure IS 'Days, both ends included, on which a site (or, with no site, the whole organisation) is shut.';
COMMENT ON TABLE customer IS 'Who the tanks of a site belong to; the own tanks of a club need none.';
COMMENT ON TABLE due_item IS 'Per routine its oldest unclosed item with moved dates: never a function of today. From next_earliest on the fold is asked again.';
COMMENT ON TABLE equipment IS 'A device or valve of a tank.';
COMMENT ON TABLE item_close IS 'Which record closes which item of a routine; rewritten from the fold under the tank''s lock.';
COMMENT ON TABLE key_hash IS 'SHA-256 of each access key and the tenant it opens; outside row security, since the tenant is not known before.';
COMMENT ON TABLE livestock IS 'Animals of one species in one tank. count is the sum of their events, kept in the same transaction.';
COMMENT ON TABLE livestock_event IS 'Why a count changed. Rows are never changed; a correction is another event.';
COMMENT ON TABLE member IS 'A person or a program in an organisation. Shifts by ISO weekday, minutes since midnight; absences in whole days.';
COMMENT ON TABLE organisation IS 'A maintenance business or a club: the tenant.';
COMMENT ON TABLE organisation_directory IS 'Every organisation, outside row security: walked by sweeps and by check, one organisation a transaction.';
COMMENT ON TABLE parameter IS 'What can be measured, in which unit, and the bounds outside which a value is a slip of the pen; the same for every organisation.';
COMMENT ON TABLE pause IS 'Days [from_day, to_day) on which a tank, or one routine of it, rests; to_day is the resume day.';
COMMENT ON TABLE ramp_event IS 'A ramp was held, resumed or stepped back, and why.';
COMMENT ON TABLE reading IS 'Measured values in the unit of the parameter catalogue, partitioned by month of taken_at (UTC).';
COMMENT ON TABLE round IS 'A technician''s day, made when it was first read; its order changes only by a new plan.';
COMMENT ON TABLE routine IS 'A rule that makes work due at a tank, again and again. consequence_class: 1 life support, 2 animal welfare, 3 water quality, 4 upkeep.';
COMMENT ON TABLE routine_revision IS 'What a routine says from a day on: an edit counts from the day it is entered, never back. active_months: bits 1 to 12, 0 for all.';
COMMENT ON TABLE site IS 'A place with tanks. Its local date is "today" for all its work.';
COMMENT ON TABLE site_access_notes IS 'Keys, codes and who to ask: kept apart from the site, for fewer eyes.';
COMMENT ON COLUMN site.no_access_weekdays IS 'Bits 1 (Monday) to 7: weekdays that the access windows leave out; none when there are no windows.';
COMMENT ON TABLE species IS 'An organisation''s own species beside the catalogue.';
COMMENT ON TABLE stored_answer IS 'The answer of each committed command that carried an Idempotency-Key; kept 30 days.';
COMMENT ON TABLE tank IS 'A water system at a site. net_l is computed from shape, displacement and sump when the row is saved.';
COMMENT ON TABLE visit IS 'One technician at one site on one day. A round is the ordered visits of (member, day).';
COMMENT ON TABLE visit_item IS 'The due work a visit is for, by identity, as it stood when it came into the visit: done work has left due_item.';
COMMENT ON TABLE work_record IS 'What was done. Rows never change but for the void columns.';
