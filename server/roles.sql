-- The database roles of Flyround: who may connect, and what nobody may do by default.
-- Run as a superuser, connected to each database that Flyround uses (and to template1, so that new ones begin alike).
-- It may be run again at any time. Passwords are set apart from it, by ALTER ROLE. Table rights are granted by the
-- migrations, table by table.

DO $$
DECLARE
    name text;
BEGIN
    -- Each of these is a login of its own, inherits nothing and stays under row-level security.
    FOREACH name IN ARRAY ARRAY[
        'flyround_owner',   -- owns database and schema; runs migrations
        'flyround_app',     -- pages and API
        'flyround_worker',  -- weekly check and mail
        'flyround_cohort',  -- reads the cohort's weekly summaries, inserts region reports
        'flyround_region',  -- reads region reports
        'flyround_eraser'   -- erasure and retention
    ] LOOP
        IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = name) THEN
            EXECUTE format('CREATE ROLE %I LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOINHERIT NOBYPASSRLS NOREPLICATION', name);
        END IF;
    END LOOP;
    -- pg_dump as the owner stops at forced row security, so backups have a role that reads everything and writes nothing.
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'flyround_backup') THEN
        CREATE ROLE flyround_backup LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOINHERIT BYPASSRLS NOREPLICATION;
    END IF;
    -- Owns the functions that row security asks; nobody logs in as it.
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'flyround_definer') THEN
        CREATE ROLE flyround_definer NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOINHERIT NOBYPASSRLS NOREPLICATION;
    END IF;
    -- A role that somebody widened by hand would open both walls without a sound.
    SELECT string_agg(rolname, ', ' ORDER BY rolname) INTO name FROM pg_roles
     WHERE rolname IN ('flyround_owner', 'flyround_app', 'flyround_worker', 'flyround_cohort', 'flyround_region',
                       'flyround_eraser', 'flyround_backup', 'flyround_definer')
       AND (rolsuper OR rolcreaterole OR rolreplication OR (rolbypassrls AND rolname <> 'flyround_backup'));
    IF name IS NOT NULL THEN
        RAISE EXCEPTION 'These roles may do more than Flyround allows: %. Take back the extra rights with ALTER ROLE and start again.', name;
    END IF;
END
$$;

-- The owner hands functions over to the definer but never acts with its rights by accident.
GRANT flyround_definer TO flyround_owner WITH INHERIT FALSE, SET TRUE;
GRANT pg_read_all_data TO flyround_backup WITH INHERIT TRUE, SET FALSE;
ALTER ROLE flyround_backup SET default_transaction_read_only = on;
ALTER ROLE flyround_region SET default_transaction_read_only = on;

DO $$
BEGIN
    IF current_database() NOT IN ('postgres', 'template0', 'template1') THEN
        EXECUTE format('ALTER DATABASE %I OWNER TO flyround_owner', current_database());
    END IF;
END
$$;

ALTER SCHEMA public OWNER TO flyround_owner;
REVOKE ALL ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO flyround_app, flyround_worker, flyround_cohort, flyround_region, flyround_eraser, flyround_backup;
-- ALTER FUNCTION ... OWNER TO flyround_definer asks that the new owner may create in the schema.
GRANT USAGE, CREATE ON SCHEMA public TO flyround_definer;

-- A new function is nobody's to execute until a migration says so.
ALTER DEFAULT PRIVILEGES FOR ROLE flyround_owner REVOKE EXECUTE ON FUNCTIONS FROM PUBLIC;
ALTER DEFAULT PRIVILEGES FOR ROLE flyround_definer REVOKE EXECUTE ON FUNCTIONS FROM PUBLIC;
