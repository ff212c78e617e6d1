-- Invariant: what is read of an animal are the facts of all its records, under the one identifier that it goes
-- by; linked records have no two holders, owners, places, births, deaths or readings at one time, none that
-- lives after its death, and none that another site answers for.

-- For each table that names animals, nothing of one that never was can be entered, and there is a view of the same name and columns, in which records are named as the
-- animal that they stand for and facts that are set aside are not there. The store's doors put this schema first,
-- so that no query has to know of links. A view looks with the eyes of the asker, so row-level security holds.
CREATE SCHEMA standing;
GRANT USAGE ON SCHEMA standing TO holt_service;

CREATE PROCEDURE holt_stand(tab text, VARIADIC named text[]) LANGUAGE plpgsql AS $$
DECLARE
  -- By what a record is known stands of one that was entered by mistake as well: it is shown as such. So does what came
  -- to nothing between two sites: the other one heard of it.
  shown CONSTANT text[] := ARRAY['accessions', 'births', 'sexings', 'transfers'];
  columns text := '';
  joins text := '';
  col record;
BEGIN
  FOR col IN SELECT a.attname AS name, a.attnotnull AS filled FROM pg_attribute a
              WHERE a.attrelid = format('public.%I', tab)::regclass AND a.attnum > 0 AND NOT a.attisdropped
              ORDER BY a.attnum LOOP
    IF col.name = ANY (named) THEN
      columns := columns || format('%1$I.animal_id AS %2$I, ', 'by_' || col.name, col.name);
      joins := joins || format(
        ' %1$s JOIN public.identities %2$I ON %2$I.record_id = f.%3$I
          AND (NOT %2$I.linked OR public.holt_animal(%2$I.record_id) = %2$I.animal_id)',
        CASE WHEN col.filled THEN '' ELSE 'LEFT' END, 'by_' || col.name, col.name);
    ELSE
      columns := columns || format('f.%I, ', col.name);
    END IF;
  END LOOP;
  EXECUTE format('CREATE VIEW standing.%1$I WITH (security_invoker = true) AS SELECT %2$s FROM public.%1$I f%3$s%4$s',
    tab, rtrim(columns, ', ') || CASE WHEN 'animal_id' = ANY (named) THEN ', f.animal_id AS record_id' ELSE '' END,
    joins, CASE WHEN 'animal_id' = ANY (named)
                THEN ' WHERE (by_animal_id.linked IS NOT TRUE
                               OR NOT public.holt_set_aside(f.id, by_animal_id.animal_id))' ELSE '' END
           || CASE WHEN 'animal_id' = ANY (named) AND tab <> ALL (shown)
                   THEN ' AND (by_animal_id.doubted IS NOT TRUE OR NOT public.holt_mistaken(f.animal_id))' ELSE '' END);
  EXECUTE format('COMMENT ON VIEW standing.%I IS %L', tab,
    'The table of this name, with records named as the animal that they stand for and without what is set aside.');
  EXECUTE format('GRANT SELECT ON standing.%I TO holt_service', tab);
  IF 'animal_id' = ANY (named) THEN
    EXECUTE format('CREATE POLICY never_was ON public.%I AS RESTRICTIVE FOR INSERT
                      WITH CHECK (NOT holt_never_was(animal_id))', tab);
  END IF;
END
$$;
CALL holt_stand('births', 'animal_id');
CALL holt_stand('sexings', 'animal_id');
CALL holt_stand('parents', 'animal_id', 'parent_id');
CALL holt_stand('accessions', 'animal_id');
CALL holt_stand('holdings', 'animal_id');
CALL holt_stand('titles', 'animal_id');
CALL holt_stand('loans', 'animal_id');
CALL holt_stand('placements', 'animal_id');
CALL holt_stand('memberships', 'animal_id');
CALL holt_stand('life_states', 'animal_id');
CALL holt_stand('marks', 'animal_id');
CALL holt_stand('papers', 'animal_id');
CALL holt_stand('weights', 'animal_id');
CALL holt_stand('assessments', 'animal_id');
CALL holt_stand('deaths', 'animal_id');
CALL holt_stand('litter_changes', 'animal_id');
CALL holt_stand('litter_parents', 'parent_id');
CALL holt_stand('transfers', 'animal_id');
CALL holt_stand('concerns', 'animal_id');
CALL holt_stand('checks', 'animal_id');
CALL holt_stand('feeds', 'animal_id');
CALL holt_stand('encounter_limits', 'animal_id');
CALL holt_stand('encounter_animals', 'animal_id');

-- Nothing hangs on a record that was entered by mistake: no link, no move, no young, and nothing of another site.
CREATE FUNCTION holt_mistake_stands_alone() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  one CONSTANT uuid := NEW.animal_id;
  tab text;
  hangs text;
  others boolean;
BEGIN
  SELECT CASE
    WHEN cardinality(holt_linked_with(one)) > 1 THEN 'merges'
    WHEN EXISTS (SELECT FROM transfers t
                  WHERE t.animal_id = one AND t.state NOT IN ('refused', 'cancelled')) THEN 'transfers'
    WHEN EXISTS (SELECT FROM parents p
                  WHERE p.parent_id = one AND p.superseded_at IS NULL AND NOT holt_never_was(p.animal_id)) THEN 'parents'
    WHEN EXISTS (SELECT FROM litter_parents p WHERE p.parent_id = one AND p.superseded_at IS NULL) THEN 'litter_parents'
    WHEN EXISTS (SELECT FROM encounter_animals a JOIN encounters e ON e.id = a.encounter_id
                  WHERE a.animal_id = one AND e.superseded_at IS NULL) THEN 'encounters'
    WHEN EXISTS (SELECT FROM titles t
                  WHERE t.animal_id = one AND t.superseded_at IS NULL AND t.owner_site_id <> NEW.site_id) THEN 'titles'
  END INTO hangs;
  IF hangs IS NULL THEN
    FOREACH tab IN ARRAY ARRAY['births', 'sexings', 'parents', 'accessions', 'holdings', 'titles', 'loans', 'placements',
                               'memberships', 'life_states', 'marks', 'papers', 'weights', 'assessments', 'deaths'] LOOP
      EXECUTE format('SELECT EXISTS (SELECT FROM %I f WHERE f.animal_id = $1 AND f.superseded_at IS NULL
                                        AND f.site_id <> $2)', tab) INTO others USING one, NEW.site_id;
      hangs := CASE WHEN others THEN tab ELSE hangs END;
    END LOOP;
  END IF;
  IF hangs IS NOT NULL THEN
    RAISE EXCEPTION '% hang on animal %, which is said never to have been', hangs, one
      USING ERRCODE = 'check_violation', CONSTRAINT = 'mistakes_alone_guard', TABLE = 'mistakes';
  END IF;
  -- A young that it was identified as is in its litter again.
  PERFORM holt_litter_counts(c.litter_id) FROM litter_changes c WHERE c.animal_id = one AND c.superseded_at IS NULL;
  RETURN NULL;
END
$$;
CREATE CONSTRAINT TRIGGER stands_alone AFTER INSERT ON mistakes
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_mistake_stands_alone();

-- Nobody is young of an animal that never was. At the end of the write: until then the key to the parent waits for
-- whoever says so meanwhile.
CREATE FUNCTION holt_parent_was() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  IF NEW.superseded_at IS NULL AND holt_never_was(NEW.parent_id) THEN
    RAISE EXCEPTION 'animal % is a parent, and is said never to have been', NEW.parent_id
      USING ERRCODE = 'check_violation', CONSTRAINT = 'parents_never_was_guard', TABLE = 'parents';
  END IF;
  RETURN NULL;
END
$$;
CREATE CONSTRAINT TRIGGER parent_was AFTER INSERT ON parents
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_parent_was();
CREATE CONSTRAINT TRIGGER parent_was AFTER INSERT ON litter_parents
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_parent_was();

CREATE FUNCTION holt_mistake_ends() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  IF NOT holt_never_was(NEW.animal_id) AND EXISTS (
    SELECT FROM parents p
     WHERE p.animal_id = NEW.animal_id AND p.superseded_at IS NULL AND holt_never_was(p.parent_id)) THEN
    RAISE EXCEPTION 'a parent of animal % is said never to have been', NEW.animal_id
      USING ERRCODE = 'check_violation', CONSTRAINT = 'parents_never_was_guard', TABLE = 'parents';
  END IF;
  PERFORM holt_litter_counts(c.litter_id) FROM litter_changes c
    WHERE c.animal_id = NEW.animal_id AND c.superseded_at IS NULL;
  RETURN NULL;
END
$$;
CREATE CONSTRAINT TRIGGER ends AFTER UPDATE ON mistakes
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_mistake_ends();

CREATE POLICY never_was ON merges AS RESTRICTIVE FOR INSERT
  WITH CHECK (NOT holt_never_was(animal_id) AND NOT holt_never_was(into_id));

-- The record for which something of an animal is entered: the one under which it is held then, so that each
-- record has a life of its own if the link turns out wrong.
CREATE FUNCTION holt_entered_for(animal uuid, at timestamptz) RETURNS uuid LANGUAGE plpgsql STABLE AS $$
DECLARE
  record uuid;
BEGIN
  IF NOT EXISTS (SELECT FROM public.identities i
                  WHERE i.animal_id = animal AND i.record_id = animal AND i.linked) THEN
    RETURN animal;
  END IF;
  SELECT h.record_id INTO record FROM standing.holdings h
   WHERE h.animal_id = animal AND h.superseded_at IS NULL
   ORDER BY h.began_at <= at DESC, CASE WHEN h.began_at <= at THEN h.began_at END DESC, h.began_at LIMIT 1;
  RETURN coalesce(record, animal);
END
$$;

-- Refuses what cannot be of one animal, where links join several records. What one record may not hold twice is
-- refused by its own keys; this is for two records, under the names of the same keys.
CREATE FUNCTION holt_hold_together(record uuid) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  records CONSTANT uuid[] := holt_linked_with(record);
  aside uuid[];
  rule record;
  broken boolean;
BEGIN
  IF cardinality(records) = 1 THEN
    RETURN;
  END IF;
  aside := holt_asides(records);
  FOR rule IN SELECT * FROM (VALUES
      ('holdings', 'tstzrange(x.began_at, x.ended_at) && tstzrange(y.began_at, y.ended_at)', 'holdings_one_holder'),
      ('titles', 'tstzrange(x.began_at, x.ended_at) && tstzrange(y.began_at, y.ended_at)', 'titles_one_owner'),
      ('loans', 'tstzrange(x.began_at, x.ended_at) && tstzrange(y.began_at, y.ended_at)', 'loans_one_at_a_time'),
      ('placements', 'tstzrange(x.began_at, x.ended_at) && tstzrange(y.began_at, y.ended_at)', 'placements_one_place'),
      ('memberships', 'tstzrange(x.began_at, x.ended_at) && tstzrange(y.began_at, y.ended_at)', 'memberships_one_group'),
      ('life_states', 'x.state = y.state AND tstzrange(x.began_at, x.ended_at) && tstzrange(y.began_at, y.ended_at)',
       'life_states_once_at_a_time'),
      ('births', 'true', 'births_one_key'),
      ('deaths', 'true', 'deaths_once_key'),
      ('sexings', 'x.determined_on = y.determined_on', 'sexings_one_a_day_key'),
      ('parents', 'x.kind = ''dam'' AND y.kind = ''dam''', 'parents_one_dam_key'),
      ('weights', 'x.weighed_at = y.weighed_at', 'weights_one_at_a_time_key'),
      ('litter_changes', 'true', 'litter_changes_told_apart_key')
    ) AS rules (tab, clash, name) LOOP
    EXECUTE format(
      'SELECT EXISTS (SELECT FROM %1$I x JOIN %1$I y ON y.animal_id = ANY ($1) AND x.animal_id < y.animal_id AND %2$s
         WHERE x.animal_id = ANY ($1) AND x.superseded_at IS NULL AND y.superseded_at IS NULL
           AND x.id <> ALL ($2) AND y.id <> ALL ($2))', rule.tab, rule.clash)
      INTO broken USING records, aside;
    IF broken THEN
      RAISE EXCEPTION 'records % of one animal contradict one another in %', records, rule.tab
        USING ERRCODE = 'exclusion_violation', CONSTRAINT = rule.name, TABLE = rule.tab;
    END IF;
  END LOOP;
  IF EXISTS (SELECT FROM deaths d JOIN holdings h ON h.animal_id = ANY (records)
              WHERE d.animal_id = ANY (records) AND d.superseded_at IS NULL AND h.superseded_at IS NULL
                AND d.id <> ALL (aside) AND h.id <> ALL (aside)
                AND (h.ended_at IS NULL OR h.ended_at > d.died_at)) THEN
    RAISE EXCEPTION 'records % of one animal have it live after its death', records
      USING ERRCODE = 'exclusion_violation', CONSTRAINT = 'holdings_one_holder', TABLE = 'holdings';
  END IF;
END
$$;

-- Runs as owner: whether records are linked must not depend on who writes.
CREATE FUNCTION holt_facts_hold_together() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  IF EXISTS (SELECT FROM identities i WHERE i.record_id = NEW.animal_id AND i.linked) THEN
    PERFORM holt_hold_together(NEW.animal_id);
  END IF;
  RETURN NULL;
END
$$;

-- The site that answers for records of one animal: the one that holds it, or held it last.
CREATE FUNCTION holt_answers_for(records uuid[]) RETURNS uuid
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
  SELECT h.site_id FROM holdings h
   WHERE h.animal_id = ANY (records) AND h.superseded_at IS NULL
     AND NOT holt_aside_among(h.id, records)
   ORDER BY h.began_at DESC LIMIT 1;
$$;

CREATE FUNCTION holt_links_hold() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  scope CONSTANT uuid[] := holt_sites();
  ours uuid[];
  foreign_fact boolean;
  side uuid;
  answering uuid;
  tab text;
BEGIN
  IF TG_OP = 'INSERT' AND NEW.superseded_at IS NULL AND NOT holt_everywhere() THEN
    IF (SELECT count(DISTINCT a.taxon_id) FROM animals a WHERE a.id IN (NEW.animal_id, NEW.into_id)) <> 1 THEN
      RAISE EXCEPTION 'link % joins two species', NEW.id
        USING ERRCODE = 'check_violation', CONSTRAINT = 'merges_one_species_guard', TABLE = 'merges';
    END IF;
    -- No link takes an animal out of the books of a site that neither wrote nor proposed it.
    ours := scope;
    FOREACH side IN ARRAY ARRAY[NEW.animal_id, NEW.into_id] LOOP
      answering := holt_answers_for(holt_linked_with(side, NEW.id));
      CONTINUE WHEN answering IS NULL OR answering = ANY (scope);
      IF NOT holt_consented_to_link(holt_linked_with(side, NEW.id), NEW.request_id) THEN
        RAISE EXCEPTION 'another site answers for a record that link % joins', NEW.id
          USING ERRCODE = 'check_violation', CONSTRAINT = 'merges_answering_site_guard', TABLE = 'merges';
      END IF;
      ours := ours || answering;
    END LOOP;
    FOREACH tab IN ARRAY ARRAY['births', 'sexings', 'parents', 'accessions', 'holdings', 'titles', 'loans', 'placements',
                               'memberships', 'life_states', 'marks', 'papers', 'weights', 'assessments', 'deaths',
                               'litter_changes'] LOOP
      EXECUTE format(
        'SELECT EXISTS (SELECT FROM %I f WHERE f.animal_id = ANY ($1) AND f.id = ANY ($2) AND f.site_id <> ALL ($3)
           AND NOT EXISTS (SELECT FROM set_asides a
                            WHERE a.fact_id = f.id AND a.record_id = $4 AND a.merge_id <> $5))', tab)
        INTO foreign_fact
        USING holt_linked_with(NEW.animal_id), NEW.set_aside, ours, NEW.animal_id, NEW.id;
      IF foreign_fact THEN
        RAISE EXCEPTION 'link % sets aside what another site recorded in %', NEW.id, tab
          USING ERRCODE = 'check_violation', CONSTRAINT = 'merges_set_aside_guard', TABLE = 'merges';
      END IF;
    END LOOP;
    -- What came or went by a transfer stands in two books.
    IF EXISTS (SELECT FROM holdings h WHERE h.animal_id = ANY (holt_linked_with(NEW.animal_id))
                  AND h.id = ANY (NEW.set_aside) AND num_nonnulls(h.transfer_in, h.transfer_out) > 0) THEN
      RAISE EXCEPTION 'link % sets aside one side of a transfer', NEW.id
        USING ERRCODE = 'check_violation', CONSTRAINT = 'merges_transfer_guard', TABLE = 'merges';
    END IF;
  END IF;
  PERFORM holt_hold_together(NEW.animal_id), holt_hold_together(NEW.into_id);
  PERFORM holt_sender_holds(holt_linked_with(NEW.animal_id)), holt_sender_holds(holt_linked_with(NEW.into_id));
  PERFORM holt_death_is_last(r) FROM unnest(holt_linked_with(NEW.animal_id) || holt_linked_with(NEW.into_id)) r;
  -- Young that a link set aside are counted in their litter, and are not when it ends.
  PERFORM holt_litter_counts(c.litter_id) FROM litter_changes c WHERE c.id = ANY (NEW.set_aside);
  RETURN NULL;
END
$$;
CREATE CONSTRAINT TRIGGER links_hold AFTER INSERT OR UPDATE ON merges
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_links_hold();

DO $$
DECLARE
  tab text;
BEGIN
  FOREACH tab IN ARRAY ARRAY['births', 'sexings', 'parents', 'holdings', 'titles', 'loans', 'placements', 'memberships',
                             'life_states', 'weights', 'deaths'] LOOP
    EXECUTE format('CREATE CONSTRAINT TRIGGER facts_hold_together AFTER INSERT ON %I
                    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_facts_hold_together()', tab);
  END LOOP;
END
$$;
CREATE CONSTRAINT TRIGGER facts_hold_together AFTER INSERT ON litter_changes
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN (NEW.animal_id IS NOT NULL)
  EXECUTE FUNCTION holt_facts_hold_together();
