-- Invariant: a merge is a link between two records and changes no fact: what stands of an animal are the facts of
-- all records that are linked to it, less those that a link sets aside. A record is given up for one other at
-- most, and never, by however many links, for itself.

CREATE TABLE merges (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  into_id        uuid NOT NULL REFERENCES animals,
  set_aside      uuid[] NOT NULL,
  aside_for      uuid[] NOT NULL,
  because        text NOT NULL CONSTRAINT merges_because_guard CHECK (because <> ''),
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id),
  CONSTRAINT merges_not_itself_guard CHECK (into_id <> animal_id),
  CONSTRAINT merges_aside_for_guard CHECK (cardinality(aside_for) = cardinality(set_aside))
);
CREATE UNIQUE INDEX merges_one_key ON merges (animal_id) WHERE superseded_at IS NULL;
CREATE INDEX merges_site_id_idx ON merges (site_id);
CREATE INDEX merges_into_id_idx ON merges (into_id);
CREATE INDEX merges_id_idx ON merges (id);
CALL holt_guard_fact('merges', 'Records that were found to be of an animal that has another record.', '{
  "animal_id": "The record that was given up; it stays, and means the other while the link stands.",
  "site_id": "The site that recorded it.",
  "into_id": "The record that was kept.",
  "set_aside": "Facts of either that do not stand while the link does, by the identifier of the version.",
  "aside_for": "For each of them, the record for which it does not stand: once that is of another animal, it is asked again.",
  "because": "How it was found."
}');
-- Whoever sees the animal knows by which other records it goes.
CREATE POLICY read_other ON merges FOR SELECT USING (holt_sees(into_id, recorded_at));
-- And nobody by one that it does not see: to a former owner, the record that it owned stands for itself again.
CREATE POLICY of_one_seen ON merges AS RESTRICTIVE FOR SELECT
  USING (EXISTS (SELECT FROM animals a WHERE a.id = into_id));

-- Which records may stand for which animal: itself, and by every link there ever was. Kept by the database, so
-- that the facts of an animal are found by an index, whether it has one record or several. Which of them does
-- stand, as known and to the asker, `holt_animal` says.
CREATE TABLE identities (
  animal_id uuid NOT NULL,
  record_id uuid NOT NULL,
  linked    boolean NOT NULL,
  doubted   boolean NOT NULL,
  CONSTRAINT identities_pkey PRIMARY KEY (animal_id, record_id)
);
CREATE INDEX identities_record_id_idx ON identities (record_id);
CALL holt_guard('identities', 'Which records may stand for which animal.', '{
  "animal_id": "The animal, by the identifier of the record that it would go by.",
  "record_id": "The record.",
  "linked": "Whether any link ever joined the record to another; where none did, it stands for itself.",
  "doubted": "Whether the record was ever said to be entered by mistake; where it never was, nobody is asked."
}');
REVOKE INSERT ON identities FROM holt_service;

-- Facts that links set aside, found by the fact.
CREATE TABLE set_asides (
  fact_id   uuid NOT NULL,
  record_id uuid NOT NULL,
  merge_id  uuid NOT NULL,
  CONSTRAINT set_asides_pkey PRIMARY KEY (fact_id, record_id, merge_id),
  FOREIGN KEY (record_id, merge_id) REFERENCES merges
);
CREATE INDEX set_asides_merge_idx ON set_asides (record_id, merge_id);
CALL holt_guard('set_asides', 'Facts that do not stand while a link does.', '{
  "fact_id": "The version of the fact.",
  "record_id": "The record that the link gives up.",
  "merge_id": "The link."
}');
REVOKE INSERT ON set_asides FROM holt_service;
CREATE POLICY read ON set_asides FOR SELECT USING (EXISTS (
  SELECT FROM merges g WHERE g.animal_id = set_asides.record_id AND g.id = set_asides.merge_id));
-- The database alone adds to either, as the links are written.
CREATE POLICY record ON set_asides FOR INSERT WITH CHECK (pg_trigger_depth() > 0);
CREATE POLICY record ON identities FOR INSERT WITH CHECK (pg_trigger_depth() > 0);
CREATE POLICY link ON identities FOR UPDATE USING (pg_trigger_depth() > 0);

-- As known when: the instant that a reading asks about; set by the store's doors.
CREATE FUNCTION holt_known_at() RETURNS timestamptz LANGUAGE sql STABLE PARALLEL SAFE
  RETURN coalesce(nullif(current_setting('holt.known_at', true), '')::timestamptz, 'infinity');

-- The animal that a record stands for, by the links that the asker sees, as known then.
CREATE FUNCTION holt_animal(record uuid) RETURNS uuid LANGUAGE plpgsql STABLE COST 1000 AS $$
DECLARE
  known CONSTANT timestamptz := public.holt_known_at();
  found_at uuid := record;
  kept uuid;
BEGIN
  LOOP
    SELECT g.into_id INTO kept FROM public.merges g
     WHERE g.animal_id = found_at AND g.recorded_at <= known
       AND (g.superseded_at IS NULL OR g.superseded_at > known);
    EXIT WHEN kept IS NULL;
    found_at := kept;
  END LOOP;
  RETURN found_at;
END
$$;
-- Bare identifiers of records that nobody linked are open to whoever is inside: what they are of is not. To ask
-- of each whose it is would cost more than the rest of a reading.
CREATE POLICY read ON identities FOR SELECT
  USING ((SELECT holt_inside()) AND (NOT linked OR holt_animal(record_id) = animal_id));

-- Whether a fact does not stand of an animal, for a link between its records sets it aside.
CREATE FUNCTION holt_set_aside(fact uuid, animal uuid) RETURNS boolean LANGUAGE plpgsql STABLE COST 1000 AS $$
DECLARE
  known CONSTANT timestamptz := public.holt_known_at();
BEGIN
  RETURN EXISTS (
    SELECT FROM public.set_asides a
      JOIN public.merges g ON g.animal_id = a.record_id AND g.id = a.merge_id
     WHERE a.fact_id = fact AND g.recorded_at <= known AND (g.superseded_at IS NULL OR g.superseded_at > known)
       AND public.holt_animal(g.animal_id) = animal);
END
$$;

-- The records of these animals, as the asker sees them and as known then.
CREATE FUNCTION holt_records(animals uuid[]) RETURNS uuid[] LANGUAGE plpgsql STABLE AS $$
BEGIN
  RETURN animals || ARRAY(
    SELECT i.record_id FROM public.identities i
     WHERE i.animal_id = ANY (animals) AND i.linked AND i.record_id <> i.animal_id
       AND public.holt_animal(i.record_id) = i.animal_id);
END
$$;

-- All records that standing links join to a record, whoever may see them; itself among them, in order. Runs as
-- owner: what the database holds by itself must not depend on who asks. One link may be left out.
CREATE FUNCTION holt_linked_with(record uuid, but uuid DEFAULT NULL) RETURNS uuid[]
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  found_all uuid[];
BEGIN
  IF NOT EXISTS (SELECT FROM identities i WHERE i.record_id = record AND i.linked) THEN
    RETURN ARRAY[record];
  END IF;
  WITH RECURSIVE kin (id) AS (
    SELECT record
    UNION
    SELECT CASE WHEN g.animal_id = k.id THEN g.into_id ELSE g.animal_id END
      FROM kin k JOIN merges g ON (g.animal_id = k.id OR g.into_id = k.id) AND g.superseded_at IS NULL
                              AND g.id IS DISTINCT FROM but
  )
  SELECT array_agg(id ORDER BY id) INTO found_all FROM kin;
  RETURN found_all;
END
$$;

-- Whether a standing link among these records sets a fact aside, whoever may see it.
CREATE FUNCTION holt_aside_among(fact uuid, records uuid[]) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN EXISTS (
    SELECT FROM set_asides a JOIN merges g ON g.animal_id = a.record_id AND g.id = a.merge_id
     WHERE a.fact_id = fact AND g.superseded_at IS NULL AND g.animal_id = ANY (records)
       AND g.into_id = ANY (records));
END
$$;

-- The facts that standing links among these records set aside, whoever may see them.
CREATE FUNCTION holt_asides(records uuid[]) RETURNS uuid[]
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
  SELECT coalesce(array_agg(a.fact_id), '{}')
    FROM merges g JOIN set_asides a ON a.record_id = g.animal_id AND a.merge_id = g.id
   WHERE g.animal_id = ANY (records) AND g.superseded_at IS NULL;
$$;

-- Every record stands for itself from the first.
CREATE FUNCTION holt_stand_for_itself() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  INSERT INTO identities SELECT n.id, n.id, false, false FROM new_animals n;
  RETURN NULL;
END
$$;
CREATE TRIGGER stand_for_itself AFTER INSERT ON animals REFERENCING NEW TABLE AS new_animals
  FOR EACH STATEMENT EXECUTE FUNCTION holt_stand_for_itself();

-- A link: who else stands for whom from now on, and what it sets aside. All records that it joins are locked
-- first, in order, so that of several links at once each sees what the others did.
CREATE FUNCTION holt_link() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  joined uuid[];
BEGIN
  UPDATE identities SET linked = true WHERE record_id IN (NEW.animal_id, NEW.into_id) AND NOT linked;
  joined := holt_linked_with(NEW.animal_id);
  PERFORM FROM animals WHERE id = ANY (joined) ORDER BY id FOR UPDATE;
  IF joined <> holt_linked_with(NEW.animal_id) THEN
    RAISE EXCEPTION 'records that link % joins were linked meanwhile', NEW.id USING ERRCODE = 'serialization_failure';
  END IF;
  IF EXISTS (
    WITH RECURSIVE above (id) AS (
      SELECT NEW.into_id
      UNION
      SELECT g.into_id FROM above a JOIN merges g ON g.animal_id = a.id AND g.superseded_at IS NULL)
    SELECT FROM above WHERE id = NEW.animal_id
  ) THEN
    RAISE EXCEPTION 'by link % a record would be given up for itself', NEW.id USING ERRCODE = 'serialization_failure';
  END IF;
  WITH RECURSIVE above (id) AS (
    SELECT NEW.into_id
    UNION
    SELECT g.into_id FROM above a JOIN merges g ON g.animal_id = a.id AND g.superseded_at IS NULL
  ), below (id) AS (
    SELECT NEW.animal_id
    UNION
    SELECT g.animal_id FROM below b JOIN merges g ON g.into_id = b.id AND g.superseded_at IS NULL
  )
  INSERT INTO identities
  SELECT a.id, b.id, true, EXISTS (SELECT FROM identities i WHERE i.record_id = b.id AND i.doubted)
    FROM above a CROSS JOIN below b ON CONFLICT DO NOTHING;
  INSERT INTO set_asides SELECT DISTINCT f.id, NEW.animal_id, NEW.id FROM unnest(NEW.set_aside) AS f (id);
  RETURN NULL;
END
$$;
CREATE TRIGGER link AFTER INSERT ON merges FOR EACH ROW EXECUTE FUNCTION holt_link();

-- A record of another site is given up by the site that is asked; `links_hold` sees to it that the same write says yes.
CREATE POLICY record_asked ON merges FOR INSERT WITH CHECK (
  site_id = ANY ((SELECT holt_sites())::uuid[]) AND holt_is_asked(holt_linked_with(animal_id)));
