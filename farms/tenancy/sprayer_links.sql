-- Which one-time address of a hired sprayer a key opens: whoever asks sees no farm yet, and then acts for whoever made it.

CREATE FUNCTION find_sprayer_link(hash bytea) RETURNS TABLE (farm_id uuid, link_id uuid, made_by uuid)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT l.farm_id, l.id, l.made_by_id FROM public.monitoring_sprayerlink l
    WHERE l.key_hash = hash AND l.used_at IS NULL AND l.withdrawn_at IS NULL AND l.expires_at > now()
$$;
