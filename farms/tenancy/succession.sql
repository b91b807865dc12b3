-- A coordinator sees no farm. These name the next adviser to farms whose adviser left, count what came of it and what is
-- still promised, and pass that on; for a coordinator of the group alone, who learns how many farms, never which.

CREATE FUNCTION coordinates(in_group uuid) RETURNS boolean
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT NULLIF(current_setting('app.token_id', true), '') IS NULL AND EXISTS (
        SELECT 1 FROM public.farms_groupmember g
        WHERE g.user_id = NULLIF(current_setting('app.user_id', true), '')::uuid
          AND g.group_id = in_group AND g.role = 'coordinator' AND g.ended_at IS NULL
    )
$$;

CREATE FUNCTION advises_group(who uuid, in_group uuid) RETURNS boolean
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT EXISTS (SELECT 1 FROM public.farms_groupmember g
                   WHERE g.user_id = who AND g.group_id = in_group AND g.role = 'adviser' AND g.ended_at IS NULL)
$$;

-- To the farms (of one region, where given) that have nobody named yet, said nothing, or said no to somebody else. The
-- offer before ends, and each farm's log says so. Nobody advises a farm by it.
CREATE FUNCTION name_successor(
    in_group uuid, who_left uuid, who_follows uuid, in_region uuid, begins date, at timestamptz
) RETURNS bigint
LANGUAGE sql VOLATILE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    WITH ended AS (
        UPDATE public.farms_adviseroffer o SET ended_at = at
        FROM public.farms_farm f
        WHERE f.id = o.farm_id AND f.group_id = in_group AND o.left_id = who_left AND o.ended_at IS NULL
          AND (in_region IS NULL OR f.region_id = in_region)
          AND (o.answer = 'nothing' OR o.answer = 'no' AND o.successor_id <> who_follows)
          AND public.coordinates(in_group) AND public.advises_group(who_follows, in_group)
        RETURNING o.farm_id, o.left_at, o.agreed_by_id, o.answer
    ), made AS (
        INSERT INTO public.farms_adviseroffer
            (farm_id, id, left_id, left_at, successor_id, offered_by_id, offered_at, begins_on, agreed_by_id, answer)
        -- Who said no is asked, whatever was agreed to before.
        SELECT e.farm_id, uuidv7(), who_left, e.left_at, who_follows,
               NULLIF(current_setting('app.user_id', true), '')::uuid, at, begins,
               CASE WHEN e.answer = 'nothing' THEN e.agreed_by_id END, 'nothing'
        FROM ended e RETURNING farm_id
    ), noted AS (
        INSERT INTO public.farms_logevent (farm_id, id, at, kind, actor_kind, actor_id, about)
        SELECT m.farm_id, uuidv7(), at, 'successor_named', 'coordinator',
               NULLIF(current_setting('app.user_id', true), '')::uuid, 'adviser ' || who_follows
        FROM made m
    )
    SELECT count(*) FROM made
$$;

CREATE FUNCTION offers_of_group(in_group uuid)
RETURNS TABLE (left_id uuid, successor_id uuid, begins_on date, answer text, farms bigint)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT o.left_id, o.successor_id, o.begins_on, o.answer, count(*)
    FROM public.farms_adviseroffer o JOIN public.farms_farm f ON f.id = o.farm_id
    WHERE f.group_id = in_group AND o.ended_at IS NULL AND public.coordinates(in_group)
    GROUP BY 1, 2, 3, 4 ORDER BY 1, 2, 3, 4
$$;

CREATE FUNCTION open_promises_of_group(in_group uuid)
RETURNS TABLE (left_id uuid, kind text, day date, promises bigint)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT p.left_id, p.kind, p.day, count(*)
    FROM public.farms_openpromise p JOIN public.farms_farm f ON f.id = p.farm_id
    WHERE f.group_id = in_group AND p.taken_at IS NULL AND public.coordinates(in_group)
    GROUP BY 1, 2, 3 ORDER BY 3, 2, 1
$$;

-- To an adviser of the group, on the farms that have agreed to that adviser already: a visit or call that lies ahead is
-- planned for them.
CREATE FUNCTION pass_promises(in_group uuid, who_left uuid, to_whom uuid, today date, at timestamptz) RETURNS bigint
LANGUAGE sql VOLATILE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    WITH passed AS (
        UPDATE public.farms_openpromise p SET taken_by_id = to_whom, taken_at = at
        FROM public.farms_farm f
        WHERE f.id = p.farm_id AND f.group_id = in_group AND p.left_id = who_left AND p.taken_at IS NULL
          AND public.coordinates(in_group) AND public.advises_group(to_whom, in_group)
          AND EXISTS (SELECT 1 FROM public.farms_consent c
                      WHERE c.farm_id = p.farm_id AND c.adviser_id = to_whom
                        AND c.kind = 'adviser' AND c.withdrawn_at IS NULL)
        RETURNING p.farm_id, p.kind, p.day
    ), planned AS (
        INSERT INTO public.farms_plannedvisit (farm_id, id, adviser_id, kind, day, planned_at)
        SELECT farm_id, uuidv7(), to_whom, kind, day, at FROM passed WHERE kind IN ('visit', 'call') AND day >= today
    )
    SELECT count(*) FROM passed
$$;
