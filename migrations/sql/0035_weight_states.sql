-- Invariant: what is kept here is worked out from the readings, the facts and the settlings that are on record, and can be
-- worked out from them again; it is no history. So it is changed in place, and the ledger does not vouch for it.

CREATE TABLE weight_kinds (
  site_id  uuid NOT NULL REFERENCES sites,
  taxon_id uuid NOT NULL REFERENCES taxa,
  week     bigint NOT NULL,
  state    text NOT NULL,
  CONSTRAINT weight_kinds_pkey PRIMARY KEY (site_id, taxon_id, week)
);
CREATE INDEX weight_kinds_taxon_id_idx ON weight_kinds (taxon_id);
CALL holt_guard('weight_kinds', 'What was known of the weights of a species at a site as a week began.', '{
  "site_id": "The site.",
  "taxon_id": "The species.",
  "week": "Number of the week since 1970, from Monday on.",
  "state": "What was known: JSON of the audit module."
}');
CREATE POLICY own ON weight_kinds
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));

CREATE TABLE weight_states (
  of_id     uuid NOT NULL,
  part      text NOT NULL CONSTRAINT weight_states_part_guard CHECK (part IN ('animal', 'group')),
  site_id   uuid NOT NULL REFERENCES sites,
  taxon_id  uuid NOT NULL REFERENCES taxa,
  until     timestamptz NOT NULL,
  stale     boolean NOT NULL,
  basis     text NOT NULL,
  state     text NOT NULL,
  lessons   text NOT NULL,
  confirmed uuid[] NOT NULL,
  -- Several species may live in one enclosure; an animal is of one.
  CONSTRAINT weight_states_pkey PRIMARY KEY (of_id, part, site_id, taxon_id)
);
CREATE UNIQUE INDEX weight_states_animal_key ON weight_states (of_id, site_id) WHERE part = 'animal';
CREATE INDEX weight_states_site_id_idx ON weight_states (site_id, taxon_id);
CREATE INDEX weight_states_taxon_id_idx ON weight_states (taxon_id);
CALL holt_guard('weight_states', 'What an animal, or a group, is expected to weigh: moved on by each round.', '{
  "of_id": "The animal; or the enclosure of a group, or the animal of one that lives alone.",
  "part": "animal or group.",
  "site_id": "The site that weighs it.",
  "taxon_id": "The species.",
  "until": "Instant of the latest reading in it.",
  "stale": "Something from before that instant changed: it must be worked out again.",
  "basis": "What it was worked out by: the version of the model, the life of the animal, its facts until then.",
  "state": "JSON of the audit module.",
  "lessons": "What a group taught of its kind that is not learnt yet: JSON of the audit module.",
  "confirmed": "Readings that were set aside, and that a later one agreed with."
}');
GRANT UPDATE (taxon_id, until, stale, basis, state, lessons, confirmed) ON weight_states TO holt_service;
CREATE POLICY own ON weight_states
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
CREATE POLICY of_ours ON weight_states AS RESTRICTIVE FOR INSERT
  WITH CHECK (holt_part(of_id) OR (part = 'group' AND EXISTS (
                SELECT FROM enclosures e WHERE e.id = weight_states.of_id AND e.site_id = weight_states.site_id)));

-- One at a time begins a week, and while it does nobody else works out what follows from rounds of the species at the site;
-- within a week, groups know nothing of one another and may come side by side. In order of species, so that nobody waits for
-- somebody who waits for them. What is read after the wait is what stands by then.
CREATE FUNCTION holt_weights_turn(site uuid, taxa uuid[], weeks bigint[]) RETURNS SETOF weight_kinds
LANGUAGE plpgsql AS $$
DECLARE
  it record;
  latest bigint;
BEGIN
  FOR it IN SELECT t.taxon, t.week FROM unnest(taxa, weeks) AS t (taxon, week) ORDER BY t.taxon LOOP
    SELECT max(k.week) INTO latest FROM public.weight_kinds k WHERE k.site_id = site AND k.taxon_id = it.taxon;
    IF latest IS NULL OR latest < it.week THEN
      PERFORM pg_advisory_xact_lock(hashtextextended(site || ' ' || it.taxon, 7));
    ELSE
      PERFORM pg_advisory_xact_lock_shared(hashtextextended(site || ' ' || it.taxon, 7));
    END IF;
    RETURN QUERY SELECT k.* FROM public.weight_kinds k WHERE k.site_id = site AND k.taxon_id = it.taxon
                  ORDER BY k.week DESC LIMIT 1;
  END LOOP;
END
$$;

-- Whoever corrects a reading, or enters one of the past, or links records, may be another site than the one that keeps
-- what follows from them; so the database says that it must be worked out again: of the animals, and of all groups that
-- they ever lived in.
CREATE FUNCTION holt_weights_changed(of_animals uuid[], but uuid) RETURNS void
LANGUAGE sql SECURITY DEFINER SET search_path = public, pg_temp
BEGIN ATOMIC
  WITH them AS (
    SELECT unnest(of_animals) AS id
     UNION SELECT i.animal_id FROM identities i WHERE i.record_id = ANY (of_animals)),
  records AS (
    SELECT t.id FROM them t UNION SELECT i.record_id FROM them t JOIN identities i ON i.animal_id = t.id)
  UPDATE weight_states s SET stale = true
   WHERE NOT s.stale AND s.site_id IS DISTINCT FROM but
     AND s.of_id IN (SELECT t.id FROM them t
                      UNION SELECT p.enclosure_id FROM placements p JOIN records r ON r.id = p.animal_id);
END;
CREATE FUNCTION holt_readings_changed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  PERFORM holt_weights_changed(ARRAY (SELECT n.animal_id FROM new_rows n), NULL);
  RETURN NULL;
END
$$;
CREATE TRIGGER readings_changed AFTER UPDATE ON weights REFERENCING NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION holt_readings_changed();
-- What its own site enters, the same write takes in.
CREATE FUNCTION holt_readings_entered() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  of_site record;
BEGIN
  FOR of_site IN SELECT n.site_id, array_agg(n.animal_id) AS animals FROM new_rows n GROUP BY n.site_id LOOP
    PERFORM holt_weights_changed(of_site.animals, of_site.site_id);
  END LOOP;
  RETURN NULL;
END
$$;
CREATE TRIGGER readings_entered AFTER INSERT ON weights REFERENCING NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION holt_readings_entered();
CREATE FUNCTION holt_links_changed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  PERFORM holt_weights_changed(ARRAY [NEW.animal_id, NEW.into_id], NULL);
  RETURN NULL;
END
$$;
CREATE TRIGGER links_changed AFTER INSERT OR UPDATE ON merges
  FOR EACH ROW EXECUTE FUNCTION holt_links_changed();
CREATE FUNCTION holt_mistakes_changed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  PERFORM holt_weights_changed(ARRAY [NEW.animal_id], NULL);
  RETURN NULL;
END
$$;
CREATE TRIGGER mistakes_changed AFTER INSERT OR UPDATE ON mistakes
  FOR EACH ROW EXECUTE FUNCTION holt_mistakes_changed();
