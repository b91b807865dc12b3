-- A key's hash names its invitation before anything is known of the farm; what it says is read acting for whoever
-- invited, so that an invitation opens nothing any more once that person may not invite.
CREATE FUNCTION find_invitation(hash bytea) RETURNS TABLE (farm_id uuid, invitation_id uuid, invited_by uuid)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT i.farm_id, i.id, i.invited_by_id FROM public.farms_invitation i
    WHERE i.key_hash = hash AND i.accepted_at IS NULL AND i.withdrawn_at IS NULL AND i.expires_at > now()
$$;
