-- What the cohort role may know. Definer functions, as in farms/tenancy/functions.sql.

-- The farms whose summaries it may read: those that agree to be compared, and those that no longer do but are counted
-- until their quarter ends. By the region's two newest cohorts and not by a clock: a week judged late is of the one before.
CREATE FUNCTION compared_farms() RETURNS uuid[]
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT ARRAY(
        SELECT c.farm_id FROM public.farms_consent c WHERE c.kind = 'regional' AND c.withdrawn_at IS NULL
        UNION
        SELECT unnest(o.farms) FROM public.monitoring_cohort o
        WHERE o.quarter >= (SELECT max(n.quarter) FROM public.monitoring_cohort n WHERE n.region_id = o.region_id)
                           - interval '3 months'
    )
$$;

-- The farms of a region that agreed before a moment and had not withdrawn by it: who counts in the quarter it begins.
CREATE FUNCTION agreed_by(in_region uuid, moment timestamptz) RETURNS uuid[]
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT ARRAY(
        SELECT f.id FROM public.farms_farm f
        WHERE f.region_id = in_region AND EXISTS (
            SELECT 1 FROM public.farms_consent c
            WHERE c.farm_id = f.id AND c.kind = 'regional' AND c.given_at < moment
              AND (c.withdrawn_at IS NULL OR c.withdrawn_at >= moment)
        )
    )
$$;

-- Which of the asked farms one person sees together anyway, as their owner, their recorder or their adviser: a row a person
-- who sees three or more, without a name. A report must not tell them of the others.
CREATE FUNCTION seen_together(asked uuid[]) RETURNS TABLE (farms uuid[])
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT array_agg(v.farm_id) FROM (
        SELECT m.user_id, m.farm_id FROM public.farms_membership m
        WHERE m.farm_id = ANY(asked) AND m.ended_at IS NULL
        UNION
        SELECT c.adviser_id, c.farm_id FROM public.farms_consent c
        JOIN public.farms_farm f ON f.id = c.farm_id
        WHERE c.farm_id = ANY(asked) AND c.kind = 'adviser' AND c.withdrawn_at IS NULL
          AND EXISTS (SELECT 1 FROM public.farms_groupmember g
                      WHERE g.user_id = c.adviser_id AND g.group_id = f.group_id
                        AND g.role = 'adviser' AND g.ended_at IS NULL)
    ) v GROUP BY v.user_id HAVING count(*) >= 3
$$;
