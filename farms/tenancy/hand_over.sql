-- A farm goes to another group: by the yes of one of its owners, who acts, to an invitation of that group which waits for
-- this very person, whose inviter coordinates the group still. Nobody that the farm has let in comes along: where a consent
-- lasts, nothing moves. Nobody else moves a farm.
CREATE FUNCTION move_farm(farm uuid, by_invitation uuid, to_holding uuid) RETURNS boolean
LANGUAGE sql VOLATILE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    WITH moved AS (
        UPDATE public.farms_farm f
        SET group_id = i.group_id, region_id = i.region_id, holding_id = h.id
        FROM public.farms_groupinvitation i
        JOIN public.farms_user u ON u.email = i.email
        JOIN public.farms_holding h ON h.group_id = i.group_id
        WHERE f.id = farm AND i.id = by_invitation AND h.id = to_holding AND f.group_id <> i.group_id
          AND i.role = 'owner' AND i.accepted_at IS NULL AND i.withdrawn_at IS NULL AND i.expires_at > now()
          AND NULLIF(current_setting('app.token_id', true), '') IS NULL
          AND u.id = NULLIF(current_setting('app.user_id', true), '')::uuid
          AND EXISTS (SELECT 1 FROM public.farms_membership m
                      WHERE m.farm_id = f.id AND m.user_id = u.id AND m.role = 'owner' AND m.ended_at IS NULL)
          AND EXISTS (SELECT 1 FROM public.farms_groupmember g
                      WHERE g.group_id = i.group_id AND g.user_id = i.invited_by_id
                        AND g.role = 'coordinator' AND g.ended_at IS NULL)
          AND NOT EXISTS (SELECT 1 FROM public.farms_consent c WHERE c.farm_id = f.id AND c.withdrawn_at IS NULL)
        RETURNING f.id
    )
    SELECT count(*) = 1 FROM moved
$$;
