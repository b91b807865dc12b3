-- Every farm and its group, for the eraser, which then names one after the other: ids, no names.
CREATE FUNCTION farms_with_groups() RETURNS TABLE (farm_id uuid, group_id uuid)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public AS $$
    SELECT f.id, f.group_id FROM public.farms_farm f ORDER BY f.id
$$;
