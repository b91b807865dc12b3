-- Roles that exist only in the throw-away servers of a test run; run after roles.sql, never in production.

DO $$
BEGIN
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'flyround_tester') THEN
        CREATE ROLE flyround_tester LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOINHERIT NOBYPASSRLS NOREPLICATION;
    END IF;
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'flyround_factory') THEN
        CREATE ROLE flyround_factory NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOINHERIT BYPASSRLS NOREPLICATION;
    END IF;
END
$$;

-- The tester begins each session as the app and may step into any other role inside a test's transaction; it
-- inherits from none, since a policy's role that is inherited gives its rights silently.
GRANT flyround_app, flyround_worker, flyround_cohort, flyround_region, flyround_eraser, flyround_factory
    TO flyround_tester WITH INHERIT FALSE, SET TRUE;
ALTER ROLE flyround_tester SET role = 'flyround_app';

ALTER ROLE flyround_owner CREATEDB;

GRANT USAGE ON SCHEMA public TO flyround_factory;
ALTER DEFAULT PRIVILEGES FOR ROLE flyround_owner IN SCHEMA public GRANT ALL ON TABLES TO flyround_factory;
ALTER DEFAULT PRIVILEGES FOR ROLE flyround_owner IN SCHEMA public GRANT ALL ON SEQUENCES TO flyround_factory;
ALTER DEFAULT PRIVILEGES FOR ROLE flyround_owner IN SCHEMA public GRANT EXECUTE ON FUNCTIONS TO flyround_factory;
-- To change rows past foreign keys as well, as whoever owns the machine could (tests/server/evidence).
GRANT SET ON PARAMETER session_replication_role TO flyround_factory;
