-- The eraser reaches one named farm, or what is one person's own. These tell it which are due; it learns ids, no names.

CREATE FUNCTION erasures_due(at timestamptz) RETURNS TABLE (farm_id uuid, request_id uuid, person_id uuid, words boolean)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT r.farm_id, r.id, r.person_id, r.words FROM public.farms_erasurerequest r
    WHERE r.taken_back_at IS NULL AND r.done_at IS NULL AND r.due_at <= at ORDER BY r.due_at, r.id
$$;

CREATE FUNCTION accounts_to_erase(at timestamptz) RETURNS TABLE (request_id uuid, user_id uuid, words boolean)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT r.id, r.user_id, r.words FROM public.farms_accounterasure r
    WHERE r.taken_back_at IS NULL AND r.done_at IS NULL AND r.due_at <= at ORDER BY r.due_at, r.id
$$;

-- Where somebody had a role, advised, or was invited: the farms whose rows may name them.
CREATE FUNCTION farms_of_person(who uuid, address text) RETURNS uuid[]
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT ARRAY(
        SELECT m.farm_id FROM public.farms_membership m WHERE m.user_id = who
        UNION
        SELECT c.farm_id FROM public.farms_consent c WHERE c.adviser_id = who
        UNION
        SELECT i.farm_id FROM public.farms_invitation i WHERE i.accepted_by_id = who OR i.email = address
    )
$$;

-- Who of these has no role on any farm and in no group any more.
CREATE FUNCTION belong_nowhere(asked uuid[]) RETURNS uuid[]
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT ARRAY(
        SELECT who FROM unnest(asked) AS who
        WHERE NOT EXISTS (SELECT 1 FROM public.farms_membership m WHERE m.user_id = who AND m.ended_at IS NULL)
          AND NOT EXISTS (SELECT 1 FROM public.farms_groupmember g WHERE g.user_id = who AND g.ended_at IS NULL
                          AND (g.ends_at IS NULL OR g.ends_at > now()))
    )
$$;
