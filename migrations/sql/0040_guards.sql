-- Invariant: nobody holds an animal before its birth, and nothing happens to it after its death; one death ends its
-- last holding, and whatever lasted; while a site holds an animal, somebody owns it; who sends an animal holds it until it
-- is received.

-- What is recorded of an animal after its death is refused, whichever of the two is recorded first. Here, where the
-- death is on record already: one look for all rows of a statement. `instant` is SQL over a new row `n`.
CREATE PROCEDURE holt_guard_alive(tab regclass, instant text, rows_of text DEFAULT 'new_rows n')
LANGUAGE plpgsql AS $$
BEGIN
  EXECUTE format($body$
    CREATE FUNCTION %2$I() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $f$
    DECLARE
      dead uuid;
    BEGIN
      SELECT d.animal_id INTO dead
        FROM %4$s JOIN deaths d ON d.animal_id = n.animal_id AND d.superseded_at IS NULL
       WHERE %3$s > d.died_at LIMIT 1;
      IF dead IS NOT NULL THEN
        RAISE EXCEPTION 'animal %% was dead by then', dead
          USING ERRCODE = 'check_violation', CONSTRAINT = %5$L, TABLE = %1$L;
      END IF;
      RETURN NULL;
    END
    $f$ $body$, tab, 'holt_alive_in_' || tab, instant, rows_of, tab || '_alive_guard');
  EXECUTE format('CREATE TRIGGER alive AFTER INSERT ON %s REFERENCING NEW TABLE AS new_rows
                  FOR EACH STATEMENT EXECUTE FUNCTION %I()', tab, 'holt_alive_in_' || tab);
END
$$;

-- A reading of which only the day is known stands at noon of it: on the day of a death it may have been before.
CALL holt_guard_alive('weights',
  'CASE WHEN n.day_only AND n.weighed_on <= d.died_on THEN ''-infinity'' ELSE n.weighed_at END');
CALL holt_guard_alive('assessments', 'n.assessed_at');
CALL holt_guard_alive('placements', 'coalesce(n.ended_at, ''infinity'')');
CALL holt_guard_alive('memberships', 'coalesce(n.ended_at, ''infinity'')');
CALL holt_guard_alive('life_states', 'coalesce(n.ended_at, ''infinity'')');
CALL holt_guard_alive('marks', 'coalesce(n.ended_at, ''infinity'')');
CALL holt_guard_alive('feeds', 'n.given_at');
CALL holt_guard_alive('encounter_animals', 'e.began_at',
  'new_rows n JOIN encounters e ON e.id = n.encounter_id AND e.superseded_at IS NULL');

-- Animals that an event of a watch names, wherever in it: identifiers are the only strings of this form.
CREATE FUNCTION holt_animals_in(content jsonb) RETURNS SETOF uuid LANGUAGE sql IMMUTABLE PARALLEL SAFE
BEGIN ATOMIC
  SELECT (found #>> '{}')::uuid
    FROM jsonb_path_query(content, 'strict $.** ? (@.type() == "string" && @ like_regex
      "^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")') AS found;
END;
CALL holt_guard_alive('watch_events', 'n.happened_at',
  '(SELECT w.happened_at, named AS animal_id FROM new_rows w CROSS JOIN LATERAL holt_animals_in(w.content) named) n');

-- From when on an animal is held under a record and nobody owns it. Outside a write that is not done yet there is no
-- such time, so this tells nobody of anything.
CREATE FUNCTION holt_unowned(record uuid) RETURNS timestamptz
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
  SELECT lower(held.at - coalesce(owned.at, '{}'))
    FROM (SELECT range_agg(tstzrange(h.began_at, h.ended_at)) AS at FROM holdings h
           WHERE h.animal_id = record AND h.superseded_at IS NULL) held,
         (SELECT range_agg(tstzrange(t.began_at, t.ended_at)) AS at FROM titles t
           WHERE t.animal_id = record AND t.superseded_at IS NULL) owned;
$$;

-- And here, where the death comes later. At the end of a transaction whatever changed of deaths, holdings and titles
-- of an animal agrees.
CREATE FUNCTION holt_life_adds_up() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  one CONSTANT uuid := NEW.animal_id;
  death deaths;
  broken text;
BEGIN
  SELECT * INTO death FROM deaths d WHERE d.animal_id = one AND d.superseded_at IS NULL;
  SELECT CASE
    WHEN EXISTS (SELECT FROM holdings h
                  WHERE h.animal_id = one AND h.superseded_at IS NULL AND h.ended_how = 'death'
                    AND (h.ended_at, h.site_id) IS DISTINCT FROM (death.died_at, death.site_id))
      THEN 'holdings_death_guard'
    WHEN death.id IS NOT NULL AND NOT EXISTS (
           SELECT FROM holdings h WHERE h.animal_id = one AND h.superseded_at IS NULL AND h.ended_how = 'death')
      THEN 'deaths_holding_guard'
    WHEN EXISTS (SELECT FROM holdings h
                  WHERE h.animal_id = one AND h.superseded_at IS NULL
                    AND coalesce(h.ended_at, 'infinity') > death.died_at)
      THEN 'deaths_last_guard'
    WHEN holt_unowned(one) IS NOT NULL THEN 'titles_gap_guard'
    WHEN (SELECT b.born_first FROM births b WHERE b.animal_id = one AND b.superseded_at IS NULL)
         > (SELECT h.began_on FROM holdings h
             WHERE h.animal_id = one AND h.superseded_at IS NULL ORDER BY h.began_at LIMIT 1)
      THEN 'births_holding_guard'
  END INTO broken;
  IF broken IS NOT NULL THEN
    RAISE EXCEPTION 'the life of animal % does not add up', one
      USING ERRCODE = 'check_violation', CONSTRAINT = broken, TABLE = tg_table_name;
  END IF;
  RETURN NULL;
END
$$;
CREATE CONSTRAINT TRIGGER life_adds_up AFTER INSERT OR UPDATE ON holdings
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_life_adds_up();
CREATE CONSTRAINT TRIGGER life_adds_up AFTER INSERT OR UPDATE ON titles
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_life_adds_up();
CREATE CONSTRAINT TRIGGER life_adds_up AFTER INSERT OR UPDATE ON deaths
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_life_adds_up();

CREATE CONSTRAINT TRIGGER life_adds_up AFTER INSERT OR UPDATE ON births
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_life_adds_up();

-- Whatever stands of a record is from before its death. What a link sets aside does not stand: it goes on beyond a death
-- that was recorded while the link stood.
CREATE FUNCTION holt_death_is_last(one uuid) RETURNS void
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  death deaths;
  aside uuid[];
  later text;
BEGIN
  SELECT * INTO death FROM deaths d WHERE d.animal_id = one AND d.superseded_at IS NULL;
  IF NOT FOUND THEN
    RETURN;
  END IF;
  aside := holt_asides(holt_linked_with(one));
  SELECT CASE
    WHEN EXISTS (SELECT FROM weights w
                  WHERE w.animal_id = one AND w.superseded_at IS NULL AND w.id <> ALL (aside)
                    AND w.weighed_at > death.died_at
                    AND NOT (w.day_only AND w.weighed_on <= death.died_on)) THEN 'weights'
    WHEN EXISTS (SELECT FROM assessments a
                  WHERE a.animal_id = one AND a.superseded_at IS NULL AND a.id <> ALL (aside)
                    AND a.assessed_at > death.died_at) THEN 'assessments'
    WHEN EXISTS (SELECT FROM placements p
                  WHERE p.animal_id = one AND p.superseded_at IS NULL AND p.id <> ALL (aside)
                    AND coalesce(p.ended_at, 'infinity') > death.died_at) THEN 'placements'
    WHEN EXISTS (SELECT FROM memberships m
                  WHERE m.animal_id = one AND m.superseded_at IS NULL AND m.id <> ALL (aside)
                    AND coalesce(m.ended_at, 'infinity') > death.died_at) THEN 'memberships'
    WHEN EXISTS (SELECT FROM life_states s
                  WHERE s.animal_id = one AND s.superseded_at IS NULL AND s.id <> ALL (aside)
                    AND coalesce(s.ended_at, 'infinity') > death.died_at) THEN 'life_states'
    WHEN EXISTS (SELECT FROM marks m
                  WHERE m.animal_id = one AND m.superseded_at IS NULL AND m.id <> ALL (aside)
                    AND coalesce(m.ended_at, 'infinity') > death.died_at) THEN 'marks'
    WHEN EXISTS (SELECT FROM titles t
                  WHERE t.animal_id = one AND t.superseded_at IS NULL AND t.id <> ALL (aside)
                    AND coalesce(t.ended_at, 'infinity') > death.died_at) THEN 'titles'
    WHEN EXISTS (SELECT FROM loans l
                  WHERE l.animal_id = one AND l.superseded_at IS NULL AND l.id <> ALL (aside)
                    AND coalesce(l.ended_at, 'infinity') > death.died_at) THEN 'loans'
    WHEN EXISTS (SELECT FROM transfers t
                  WHERE t.animal_id = one AND t.state IN ('proposed', 'agreed', 'dispatched')) THEN 'transfers'
    WHEN EXISTS (SELECT FROM feeds f
                  WHERE f.animal_id = one AND f.superseded_at IS NULL AND f.given_at > death.died_at) THEN 'feeds'
    WHEN EXISTS (SELECT FROM encounter_animals a JOIN encounters e ON e.id = a.encounter_id
                  WHERE a.animal_id = one AND e.superseded_at IS NULL AND a.id <> ALL (aside)
                    AND e.began_at > death.died_at) THEN 'encounters'
    WHEN EXISTS (SELECT FROM watches w JOIN watch_events e ON e.site_id = w.site_id AND e.watch_id = w.id
                  WHERE w.site_id = death.site_id AND e.superseded_at IS NULL AND e.happened_at > death.died_at
                    AND one IN (SELECT holt_animals_in(e.content))) THEN 'watch_events'
  END INTO later;
  IF later IS NOT NULL THEN
    RAISE EXCEPTION 'animal % is in % after its death', one, later
      USING ERRCODE = 'check_violation', CONSTRAINT = 'deaths_nothing_later_guard', TABLE = 'deaths';
  END IF;
END
$$;

CREATE FUNCTION holt_died_last() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  PERFORM holt_death_is_last(NEW.animal_id);
  RETURN NULL;
END
$$;
CREATE CONSTRAINT TRIGGER death_is_last AFTER INSERT ON deaths
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_died_last();

-- Whoever proposes to move an animal holds it, and goes on until the other site has it or the move is over. Looked for as
-- the transaction ends, whatever in it changed the move, a holding or a link between records.
CREATE FUNCTION holt_sender_holds(records uuid[]) RETURNS void
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  astray uuid;
BEGIN
  SELECT t.id INTO astray FROM transfers t
   WHERE t.animal_id = ANY (records) AND t.state IN ('proposed', 'agreed', 'dispatched')
     AND NOT EXISTS (SELECT FROM holdings h
                      WHERE h.animal_id = ANY (records) AND h.site_id = t.from_site_id AND h.superseded_at IS NULL
                        AND h.ended_at IS NULL AND NOT holt_aside_among(h.id, records))
   LIMIT 1;
  IF astray IS NOT NULL THEN
    RAISE EXCEPTION 'the sender of transfer % does not hold the animal', astray
      USING ERRCODE = 'check_violation', CONSTRAINT = 'transfers_sender_guard', TABLE = 'transfers';
  END IF;
END
$$;

CREATE FUNCTION holt_moves_are_held() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  PERFORM holt_sender_holds(holt_linked_with(NEW.animal_id));
  RETURN NULL;
END
$$;
CREATE CONSTRAINT TRIGGER moves_are_held AFTER INSERT OR UPDATE ON transfers
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN (NEW.state IN ('proposed', 'agreed', 'dispatched'))
  EXECUTE FUNCTION holt_moves_are_held();
-- A holding ends as another version of it takes its place, or none.
CREATE CONSTRAINT TRIGGER moves_are_held AFTER UPDATE ON holdings
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_moves_are_held();
