DO $$
DECLARE
    t text;
BEGIN
    FOR t IN
        SELECT tablename FROM pg_policies
        WHERE schemaname = 'public' AND policyname = 'organisation_wall'
        ORDER BY tablename
    LOOP
        EXECUTE format('REVOKE ALL ON %I FROM tankward_app', t);
        EXECUTE format('DROP POLICY organisation_wall ON %I', t);
        EXECUTE format('ALTER TABLE %I NO FORCE ROW LEVEL SECURITY', t);
        EXECUTE format('ALTER TABLE %I DISABLE ROW LEVEL SECURITY', t);
    END LOOP;
END
$$;
REVOKE ALL ON organisation_directory, key_hash, catalogue_species, parameter FROM tankward_app;
REVOKE ALL ON FUNCTION ensure_reading_month(date) FROM tankward_app;
REVOKE ALL ON SCHEMA public FROM tankward_app;
