-- Definer functions: they read the transaction-local settings and say which farms may be read and written.
-- They belong to flyround_definer, which cannot log in and has its own read policy on the few tables named here.

CREATE FUNCTION acting_token_farm(scopes text[]) RETURNS uuid
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT t.farm_id FROM public.farms_apitoken t
    WHERE t.farm_id = NULLIF(current_setting('app.token_farm_id', true), '')::uuid
      AND t.id = NULLIF(current_setting('app.token_id', true), '')::uuid
      AND t.revoked_at IS NULL AND t.expires_at > now() AND t.scope = ANY(scopes)
$$;

CREATE FUNCTION acting_user_farms() RETURNS uuid[]
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT ARRAY(
        SELECT m.farm_id FROM public.farms_membership m
        WHERE m.user_id = NULLIF(current_setting('app.user_id', true), '')::uuid AND m.ended_at IS NULL
        UNION
        SELECT c.farm_id FROM public.farms_consent c
        JOIN public.farms_farm f ON f.id = c.farm_id
        WHERE c.adviser_id = NULLIF(current_setting('app.user_id', true), '')::uuid
          AND c.kind = 'adviser' AND c.withdrawn_at IS NULL
          -- Who left the farm's group, even for another one, no longer advises.
          AND EXISTS (SELECT 1 FROM public.farms_groupmember g
                      WHERE g.user_id = c.adviser_id AND g.group_id = f.group_id
                        AND g.role = 'adviser' AND g.ended_at IS NULL)
    )
$$;

-- A token, where one acts, decides alone: its farm and nothing else of its maker's.
CREATE FUNCTION visible_farms() RETURNS uuid[]
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT CASE WHEN NULLIF(current_setting('app.token_id', true), '') IS NOT NULL
        THEN array_remove(ARRAY[public.acting_token_farm(ARRAY['read', 'write', 'count'])], NULL)
        ELSE public.acting_user_farms() END
$$;

CREATE FUNCTION writable_farms() RETURNS uuid[]
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT CASE WHEN NULLIF(current_setting('app.token_id', true), '') IS NOT NULL
        THEN array_remove(ARRAY[public.acting_token_farm(ARRAY['write', 'count'])], NULL)
        ELSE public.acting_user_farms() END
$$;

-- The farms that said yes to the regional comparison: what the cohort role may read.
CREATE FUNCTION cohort_farms() RETURNS uuid[]
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT ARRAY(SELECT c.farm_id FROM public.farms_consent c WHERE c.kind = 'regional' AND c.withdrawn_at IS NULL)
$$;

-- A key's hash names its token before anything is known of the farm; the answer holds no count. The first use of a day
-- is noted, unless another request holds the row: nobody waits for a note.
CREATE FUNCTION find_token(hash bytea) RETURNS TABLE (farm_id uuid, token_id uuid)
LANGUAGE sql VOLATILE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    WITH unused_today AS (
        SELECT t.farm_id, t.id FROM public.farms_apitoken t
        WHERE t.key_hash = hash AND t.revoked_at IS NULL AND t.expires_at > now()
          AND t.last_used_on IS DISTINCT FROM current_date
        FOR NO KEY UPDATE SKIP LOCKED
    ), noted AS (
        UPDATE public.farms_apitoken t SET last_used_on = current_date
        FROM unused_today u WHERE t.farm_id = u.farm_id AND t.id = u.id
    )
    SELECT t.farm_id, t.id FROM public.farms_apitoken t
    WHERE t.key_hash = hash AND t.revoked_at IS NULL AND t.expires_at > now()
$$;

-- A one-time code makes a phone the farm's: marked used and its token made in one statement, so it works once. Should
-- two farms have the same eight digits at the same time, they open neither.
CREATE FUNCTION use_phone_code(code bytea, token_id uuid, key bytea, name text, expires timestamptz)
RETURNS TABLE (farm_id uuid)
LANGUAGE sql VOLATILE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    WITH fitting AS (
        SELECT p.farm_id, p.id FROM public.farms_phonecode p
        WHERE p.code_hash = code AND p.used_at IS NULL AND p.expires_at > now()
        FOR NO KEY UPDATE
    ), used AS (
        UPDATE public.farms_phonecode p SET used_at = now()
        FROM fitting f WHERE p.farm_id = f.farm_id AND p.id = f.id AND (SELECT count(*) FROM fitting) = 1
        RETURNING p.farm_id, p.made_by_id
    )
    INSERT INTO public.farms_apitoken (farm_id, id, name, scope, key_hash, made_by_id, made_at, expires_at)
    SELECT used.farm_id, token_id, name, 'count', key, used.made_by_id, now(), expires FROM used
    RETURNING farms_apitoken.farm_id
$$;

-- A new farm has no member who could let anybody in: a coordinator of its group registers it, with its first owner.
CREATE FUNCTION register_farm(
    farm uuid, in_group uuid, in_region uuid, of_holding uuid, name text, time_zone text, language text,
    owner uuid, membership uuid, at timestamptz
) RETURNS boolean
LANGUAGE plpgsql VOLATILE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
BEGIN
    IF NOT EXISTS (
        SELECT 1 FROM public.farms_groupmember g
        WHERE g.user_id = NULLIF(current_setting('app.user_id', true), '')::uuid
          AND g.group_id = in_group AND g.role = 'coordinator' AND g.ended_at IS NULL
    ) THEN
        RETURN false;
    END IF;
    INSERT INTO public.farms_farm (id, group_id, region_id, holding_id, name, time_zone, language)
    VALUES (farm, in_group, in_region, of_holding, name, time_zone, language);
    INSERT INTO public.farms_ledgerhead (farm_id, number, hash) VALUES (farm, 0, decode(repeat('00', 32), 'hex'));
    INSERT INTO public.farms_membership (farm_id, id, user_id, role, began_at)
    VALUES (farm, membership, owner, 'owner', at);
    RETURN true;
END
$$;
