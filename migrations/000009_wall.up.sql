-- Row security is forced on every table that has org_id, but for the two that
-- must be read before the organisation is known.
DO $$
DECLARE
    t text;
BEGIN
    FOR t IN
        SELECT c.relname
        FROM pg_class c
        JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'org_id'
        WHERE c.relnamespace = 'public'::regnamespace
            AND c.relkind IN ('r', 'p')
            AND NOT c.relispartition
            AND c.relname NOT IN ('organisation_directory', 'key_hash')
        ORDER BY c.relname
    LOOP
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
        EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
        EXECUTE format('CREATE POLICY organisation_wall ON %I
            USING (org_id = NULLIF(current_setting(''tankward.org_id'', true), '''')::uuid)
            WITH CHECK (org_id = NULLIF(current_setting(''tankward.org_id'', true), '''')::uuid)', t);
        EXECUTE format('GRANT SELECT, INSERT, UPDATE, DELETE ON %I TO tankward_app', t);
    END LOOP;
END
$$;
-- What happened stays as it was written; only a record may be marked as void.
REVOKE DELETE, UPDATE ON change, audit_entry, work_record, livestock_event, ramp_event FROM tankward_app;
GRANT UPDATE (voided_at, voided_by, void_reason) ON work_record TO tankward_app;
GRANT SELECT, INSERT ON organisation_directory TO tankward_app;
GRANT SELECT, INSERT, UPDATE ON key_hash TO tankward_app;
GRANT SELECT ON catalogue_species, parameter TO tankward_app;
GRANT EXECUTE ON FUNCTION ensure_reading_month(date) TO tankward_app;
GRANT USAGE ON SCHEMA public TO tankward_app;
