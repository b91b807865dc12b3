-- Whether somebody advises a group, held until the transaction ends: their role can't end meanwhile, and where it is just
-- being ended, this waits for that. Taken before the head of a farm's chain, as whoever ends the role does.
CREATE FUNCTION hold_adviser(who uuid, in_group uuid) RETURNS boolean
LANGUAGE sql VOLATILE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    WITH held AS (
        SELECT g.id FROM public.farms_groupmember g
        WHERE g.user_id = who AND g.group_id = in_group AND g.role = 'adviser' AND g.ended_at IS NULL
        FOR SHARE
    )
    SELECT count(*) > 0 FROM held
$$;

-- Whoever was named to follow leaves the group, too: the farms that had said nothing have nobody named again, and each
-- one's log says so. For a coordinator of the group, once the role has ended; returns how many farms, never which.
CREATE FUNCTION nobody_follows(in_group uuid, who uuid, at timestamptz) RETURNS bigint
LANGUAGE sql VOLATILE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    WITH ended AS (
        UPDATE public.farms_adviseroffer o SET ended_at = at
        FROM public.farms_farm f
        WHERE f.id = o.farm_id AND f.group_id = in_group AND o.successor_id = who
          AND o.answer = 'nothing' AND o.ended_at IS NULL
          AND public.coordinates(in_group) AND NOT public.advises_group(who, in_group)
        RETURNING o.farm_id, o.left_id, o.left_at, o.agreed_by_id
    ), made AS (
        INSERT INTO public.farms_adviseroffer
            (farm_id, id, left_id, left_at, offered_by_id, offered_at, agreed_by_id, answer)
        SELECT e.farm_id, uuidv7(), e.left_id, e.left_at,
               NULLIF(current_setting('app.user_id', true), '')::uuid, at, e.agreed_by_id, 'nothing'
        FROM ended e RETURNING farm_id
    ), noted AS (
        INSERT INTO public.farms_logevent (farm_id, id, at, kind, actor_kind, actor_id, about)
        SELECT m.farm_id, uuidv7(), at, 'adviser_left', 'coordinator',
               NULLIF(current_setting('app.user_id', true), '')::uuid, 'adviser ' || who
        FROM made m
    )
    SELECT count(*) FROM made
$$;
