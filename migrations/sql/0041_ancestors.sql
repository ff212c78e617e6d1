-- Invariant: nobody is its own ancestor, whichever parent or link is recorded last and whoever sees the others.

-- Whether a record is found among the ancestors of the animal that it stands for, by all links there are.
CREATE FUNCTION holt_own_ancestor(record uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN (
    WITH RECURSIVE above (id) AS (
      SELECT r FROM unnest(holt_linked_with(record)) r
      UNION
      SELECT other FROM above a
        JOIN parents p ON p.animal_id = a.id AND p.superseded_at IS NULL
        CROSS JOIN LATERAL unnest(holt_linked_with(p.parent_id)) other
       WHERE NOT holt_aside_among(p.id, holt_linked_with(a.id))
    )
    SELECT EXISTS (
      SELECT FROM above a JOIN parents p ON p.animal_id = a.id AND p.superseded_at IS NULL
       WHERE p.parent_id = ANY (holt_linked_with(record)) AND NOT holt_aside_among(p.id, holt_linked_with(a.id))));
END
$$;

-- An animal without young is nobody's ancestor: so it is with nearly every parent that is recorded. The locks make
-- one of two writes that meet in an animal wait for the other; where a circle could close far from both, all wait.
CREATE FUNCTION holt_no_circle() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  ends uuid[] := ARRAY[NEW.animal_id];
BEGIN
  IF TG_TABLE_NAME = 'parents' THEN
    PERFORM FROM animals WHERE id = NEW.animal_id FOR NO KEY UPDATE;
    PERFORM FROM animals WHERE id = NEW.parent_id FOR SHARE;
  ELSE
    ends := ends || NEW.into_id;
  END IF;
  IF NOT EXISTS (SELECT FROM unnest(ends) e CROSS JOIN LATERAL unnest(holt_linked_with(e)) r
                   JOIN parents p ON p.parent_id = r AND p.superseded_at IS NULL) THEN
    RETURN NULL;
  END IF;
  PERFORM pg_advisory_xact_lock(x'C1C1E'::int);
  IF EXISTS (SELECT FROM unnest(ends) e WHERE holt_own_ancestor(e)) THEN
    RAISE EXCEPTION 'one of % would be its own ancestor', ends
      USING ERRCODE = 'exclusion_violation', CONSTRAINT = 'parents_no_circle', TABLE = 'parents';
  END IF;
  RETURN NULL;
END
$$;
CREATE CONSTRAINT TRIGGER parents_no_circle AFTER INSERT ON parents
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_no_circle();
CREATE CONSTRAINT TRIGGER parents_no_circle AFTER INSERT OR UPDATE ON merges
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_no_circle();
