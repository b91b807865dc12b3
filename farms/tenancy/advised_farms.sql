-- The farms that named the acting person as their adviser: what an adviser may see and the farm's own people may not,
-- since it rests on other farms' weeks too. A key advises nobody.
CREATE FUNCTION advised_farms() RETURNS uuid[]
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT ARRAY(
        SELECT c.farm_id FROM public.farms_consent c
        JOIN public.farms_farm f ON f.id = c.farm_id
        WHERE NULLIF(current_setting('app.token_id', true), '') IS NULL
          AND c.adviser_id = NULLIF(current_setting('app.user_id', true), '')::uuid
          AND c.kind = 'adviser' AND c.withdrawn_at IS NULL
          AND EXISTS (SELECT 1 FROM public.farms_groupmember g
                      WHERE g.user_id = c.adviser_id AND g.group_id = f.group_id
                        AND g.role = 'adviser' AND g.ended_at IS NULL)
          AND NOT EXISTS (SELECT 1 FROM public.farms_membership m
                          WHERE m.user_id = c.adviser_id AND m.farm_id = c.farm_id AND m.ended_at IS NULL)
    )
$$;
