CREATE TABLE parameter (
    code text PRIMARY KEY,
    name text NOT NULL,
    unit text NOT NULL,
    low  double precision NOT NULL,
    high double precision NOT NULL,
    CHECK (low < high)
);
COMMENT ON TABLE parameter IS 'What can be measured, in which unit, and the bounds outside which a value is a slip of the pen; the same for every organisation.';

-- Bounds are plausibility limits of the trade's instruments: common practice, no published source.
INSERT INTO parameter (code, name, unit, low, high) VALUES
    ('temperature',   'Water temperature',          'C',      -2,   45),
    ('salinity',      'Practical salinity',         'PSU',     0,   50),
    ('ph',            'pH, NBS scale',              'pH',      4,   11),
    ('alkalinity',    'Total alkalinity',           'dKH',     0,   40),
    ('calcium',       'Calcium',                    'mg/L',    0, 1500),
    ('magnesium',     'Magnesium',                  'mg/L',    0, 3500),
    ('nitrate',       'Nitrate as NO3',             'mg/L',    0, 1000),
    ('nitrite',       'Nitrite as NO2',             'mg/L',    0,  100),
    ('phosphate',     'Phosphate as PO4',           'mg/L',    0,   50),
    ('total_ammonia', 'Total ammonia nitrogen',     'mg/L',    0,   50),
    ('oxygen',        'Dissolved oxygen',           'mg/L',    0,   30),
    ('copper',        'Copper',                     'mg/L',    0,   10),
    ('tds',           'Dissolved solids of fresh water', 'mg/L', 0, 5000),
    ('ppfd',          'Light at the place',         'umol/m2/s', 0, 4000),
    ('flow',          'Water speed at the place',   'cm/s',    0,  300),
    ('level',         'Water level from the mark',  'mm',   -500,  500);

CREATE TABLE reading (
    org_id    uuid             NOT NULL,
    tank_id   uuid             NOT NULL,
    parameter text             NOT NULL REFERENCES parameter (code),
    taken_at  timestamptz      NOT NULL,
    id        uuid             NOT NULL,
    value     double precision NOT NULL,
    method    text             NOT NULL DEFAULT '',
    record_id uuid,
    PRIMARY KEY (org_id, tank_id, parameter, taken_at, id),
    FOREIGN KEY (org_id, tank_id) REFERENCES tank (org_id, id)
) PARTITION BY RANGE (taken_at);
CREATE INDEX reading_record_idx ON reading (org_id, record_id) WHERE record_id IS NOT NULL;
COMMENT ON TABLE reading IS 'Measured values in the unit of the parameter catalogue, partitioned by month of taken_at (UTC).';

-- The application may not make tables; it asks for a month through this function,
-- which runs as the owner.
CREATE FUNCTION ensure_reading_month(wanted date) RETURNS void
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, pg_temp
AS $$
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
$$;
COMMENT ON FUNCTION ensure_reading_month(date) IS 'Makes the partition of readings for the month of a day, if it is not there.';
REVOKE ALL ON FUNCTION ensure_reading_month(date) FROM PUBLIC;
