-- What must hold of the animals that came onto the books of some sites ($1) at any time, from the tables alone: a
-- row for each that does not, with what is wrong and with whom. Knows nothing of the code that wrote them.
WITH RECURSIVE mistake AS MATERIALIZED (
  SELECT m.animal_id FROM mistakes m JOIN animals a ON a.id = m.animal_id
   WHERE a.site_id = ANY ($1) AND m.superseded_at IS NULL
), animal AS MATERIALIZED (
  SELECT id FROM animals WHERE site_id = ANY ($1) AND id NOT IN (SELECT animal_id FROM mistake)
), merge AS MATERIALIZED (
  SELECT m.* FROM merges m JOIN animal ON animal.id = m.animal_id WHERE m.superseded_at IS NULL
), up (record, whom, steps) AS (
  SELECT id, id, 0 FROM animal
  UNION ALL
  SELECT up.record, m.into_id, steps + 1 FROM up JOIN merge m ON m.animal_id = up.whom WHERE steps < 99
), -- Whom a record is of: the animal at the end of its links.
record AS MATERIALIZED (
  SELECT record AS animal_id, whom FROM up WHERE NOT EXISTS (SELECT FROM merge m WHERE m.animal_id = up.whom)
), aside AS MATERIALIZED (
  SELECT a.fact_id AS id, r.whom FROM set_asides a JOIN merge m ON m.animal_id = a.record_id AND m.id = a.merge_id
    JOIN record r ON r.animal_id = m.animal_id
), holding AS MATERIALIZED (
  SELECT r.whom, f.* FROM holdings f JOIN record r USING (animal_id)
   WHERE f.superseded_at IS NULL AND (f.id, r.whom) NOT IN (SELECT id, whom FROM aside)
), last_holding AS (
  SELECT DISTINCT ON (whom) * FROM holding ORDER BY whom, began_at DESC
), first_holding AS (
  SELECT DISTINCT ON (whom) * FROM holding ORDER BY whom, began_at
), death AS MATERIALIZED (
  SELECT r.whom, f.* FROM deaths f JOIN record r USING (animal_id)
   WHERE f.superseded_at IS NULL AND (f.id, r.whom) NOT IN (SELECT id, whom FROM aside)
), birth AS MATERIALIZED (
  SELECT r.whom, f.* FROM births f JOIN record r USING (animal_id)
   WHERE f.superseded_at IS NULL AND (f.id, r.whom) NOT IN (SELECT id, whom FROM aside)
), title AS MATERIALIZED (
  SELECT r.whom, f.* FROM titles f JOIN record r USING (animal_id)
   WHERE f.superseded_at IS NULL AND (f.id, r.whom) NOT IN (SELECT id, whom FROM aside)
), loan AS MATERIALIZED (
  SELECT r.whom, f.* FROM loans f JOIN record r USING (animal_id)
   WHERE f.superseded_at IS NULL AND (f.id, r.whom) NOT IN (SELECT id, whom FROM aside)
), mark AS MATERIALIZED (
  SELECT r.whom, f.* FROM marks f JOIN record r USING (animal_id)
   WHERE f.superseded_at IS NULL AND (f.id, r.whom) NOT IN (SELECT id, whom FROM aside)
), move AS MATERIALIZED (
  SELECT r.whom, f.* FROM transfers f JOIN record r USING (animal_id)
), owned AS (
  SELECT *, lead(began_at) OVER (PARTITION BY whom ORDER BY began_at) AS next FROM title
), -- What is known of an animal at an instant, or for as long as it lasts.
known (what, id, whom, site_id, began_at, ended_at, lasting) AS MATERIALIZED (
  SELECT f.what, f.id, r.whom, f.site_id, f.began_at, f.ended_at, f.lasting FROM (
    SELECT CASE WHEN tried THEN 'refusal to be weighed' ELSE 'weight' END AS what, id, animal_id, site_id,
           weighed_at AS began_at, weighed_at AS ended_at, false AS lasting
      FROM weights WHERE superseded_at IS NULL
    UNION ALL
    SELECT 'assessment', id, animal_id, site_id, assessed_at, assessed_at, false
      FROM assessments WHERE superseded_at IS NULL
    UNION ALL
    SELECT 'placement', id, animal_id, site_id, began_at, ended_at, true
      FROM placements WHERE superseded_at IS NULL
    UNION ALL
    SELECT 'membership', id, animal_id, site_id, began_at, ended_at, true
      FROM memberships WHERE superseded_at IS NULL
    UNION ALL
    SELECT state, id, animal_id, site_id, began_at, ended_at, true
      FROM life_states WHERE superseded_at IS NULL
    UNION ALL
    -- One in the course of which it dies or leaves was begun with it.
    SELECT 'encounter', e.id, e.animal_id, e.site_id, n.began_at, n.began_at, false
      FROM encounter_animals e JOIN encounters n ON n.id = e.encounter_id AND n.superseded_at IS NULL
  ) f JOIN record r USING (animal_id) WHERE (f.id, r.whom) NOT IN (SELECT id, whom FROM aside)
), step AS (
  SELECT DISTINCT ON (s.transfer_id) s.* FROM transfer_steps s JOIN move m ON m.id = s.transfer_id
   ORDER BY s.transfer_id, s.seq DESC
), change AS (
  SELECT r.whom, c.*, l.site_id AS home, l.born_on FROM litter_changes c JOIN litters l ON l.id = c.litter_id
    LEFT JOIN record r USING (animal_id)
   WHERE l.site_id = ANY ($1) AND c.superseded_at IS NULL AND c.id NOT IN (SELECT id FROM aside)
     AND (c.animal_id IS NULL OR c.animal_id NOT IN (SELECT animal_id FROM mistake))
), wrong (what, whom) AS (
  SELECT 'given up, by links, for itself', id FROM animal WHERE id NOT IN (SELECT animal_id FROM record)
  UNION ALL
  SELECT 'two holders at one instant', h.whom FROM holding h JOIN holding o USING (whom)
   WHERE h.id < o.id AND tstzrange(h.began_at, h.ended_at) && tstzrange(o.began_at, o.ended_at)
  UNION ALL
  SELECT 'never held', whom FROM record WHERE whom NOT IN (SELECT whom FROM holding)
  UNION ALL
  SELECT 'lost between two holders', h.whom FROM holding h JOIN transfers t ON t.id = h.transfer_out
   WHERE h.ended_how = 'transfer' AND NOT EXISTS (
     SELECT FROM holding n
      WHERE n.whom = h.whom AND n.began_at = h.ended_at AND n.began_how = 'transfer'
        AND n.transfer_in = h.transfer_out AND n.site_id = t.to_site_id AND h.site_id = t.from_site_id)
  UNION ALL
  SELECT 'came from a transfer that nobody ended', h.whom FROM holding h
   WHERE h.began_how = 'transfer' AND NOT EXISTS (
     SELECT FROM holding b WHERE b.whom = h.whom AND b.ended_at = h.began_at AND b.ended_how = 'transfer')
  UNION ALL
  SELECT 'came onto the books twice by birth', whom FROM holding WHERE began_how IN ('birth', 'told_apart')
   GROUP BY whom HAVING count(*) > 1
  UNION ALL
  SELECT 'was born after it had been held', h.whom FROM holding h
   WHERE h.began_how IN ('birth', 'told_apart')
     AND EXISTS (SELECT FROM holding b WHERE b.whom = h.whom AND b.began_at < h.began_at)
  UNION ALL
  SELECT 'a day of a holding that is not the day of its instant', h.whom
    FROM holding h JOIN sites s ON s.id = h.site_id
   WHERE (h.began_at AT TIME ZONE s.time_zone)::date <> h.began_on
      OR (h.ended_at AT TIME ZONE s.time_zone)::date <> h.ended_on
  UNION ALL
  SELECT 'two deaths', whom FROM death GROUP BY whom HAVING count(*) > 1
  UNION ALL
  SELECT 'a death that does not end its last holding', d.whom FROM death d JOIN last_holding h USING (whom)
   WHERE h.ended_how IS DISTINCT FROM 'death' OR h.ended_at <> d.died_at OR h.ended_on <> d.died_on
  UNION ALL
  SELECT 'a holding that ended with a death that is not there', h.whom FROM holding h
   WHERE h.ended_how = 'death' AND h.whom NOT IN (SELECT whom FROM death)
  UNION ALL
  SELECT k.what || ' after its death', k.whom FROM known k JOIN death d USING (whom)
   WHERE k.began_at > d.died_at OR coalesce(k.ended_at, 'infinity') > d.died_at
  UNION ALL
  SELECT m.kind || ' in force after its death', m.whom FROM mark m JOIN death d USING (whom)
   WHERE m.began_at > d.died_at OR coalesce(m.ended_at, 'infinity') > d.died_at
  UNION ALL
  SELECT 'owned after its death', t.whom FROM title t JOIN death d USING (whom)
   WHERE coalesce(t.ended_at, 'infinity') > d.died_at
  UNION ALL
  SELECT 'on loan after its death', l.whom FROM loan l JOIN death d USING (whom)
   WHERE coalesce(l.ended_at, 'infinity') > d.died_at
  UNION ALL
  SELECT 'lent to somebody outside and held at one instant', l.whom FROM loan l JOIN holding h USING (animal_id)
   WHERE l.borrower_name <> '' AND tstzrange(l.began_at, l.ended_at) && tstzrange(h.began_at, h.ended_at)
  UNION ALL
  SELECT 'lent by somebody who did not own it', l.whom FROM loan l
   WHERE NOT EXISTS (SELECT FROM title t
                      WHERE t.whom = l.whom AND t.owner_site_id IS NOT DISTINCT FROM l.lender_site_id
                        AND t.owner_name = l.lender_name AND t.began_at <= l.began_at
                        AND coalesce(t.ended_at, 'infinity') > l.began_at)
  UNION ALL
  SELECT 'dead and on an open transfer', m.whom FROM move m JOIN death d USING (whom)
   WHERE m.state IN ('proposed', 'agreed', 'dispatched')
  UNION ALL
  SELECT k.what || ' where the site did not hold it', k.whom FROM known k
   WHERE NOT EXISTS (
     SELECT FROM holding h WHERE h.whom = k.whom AND h.site_id = k.site_id AND h.began_at <= k.began_at
        AND coalesce(h.ended_at, 'infinity') >= coalesce(k.ended_at, 'infinity'))
  UNION ALL
  SELECT 'two owners at one instant', t.whom FROM title t JOIN title o USING (whom)
   WHERE t.id < o.id AND tstzrange(t.began_at, t.ended_at) && tstzrange(o.began_at, o.ended_at)
  UNION ALL
  -- Whoever was given away and came back, as two records, had an owner meanwhile whom nobody here knows.
  SELECT 'owned by nobody between two owners', o.whom FROM owned o
   WHERE o.ended_at > o.next
      OR (o.ended_at < o.next AND EXISTS (
            SELECT FROM holding h WHERE h.whom = o.whom AND h.began_at < o.next
               AND coalesce(h.ended_at, 'infinity') > o.ended_at))
  UNION ALL
  SELECT 'held and owned by nobody at first', h.whom FROM first_holding h
   WHERE NOT EXISTS (SELECT FROM title t WHERE t.whom = h.whom AND t.began_at <= h.began_at)
  UNION ALL
  SELECT 'held and owned by nobody now', h.whom FROM holding h
   WHERE h.ended_at IS NULL AND NOT EXISTS (SELECT FROM title t WHERE t.whom = h.whom AND t.ended_at IS NULL)
  UNION ALL
  SELECT 'two of a ' || k.what || ' at one instant', k.whom FROM known k JOIN known o USING (whom, what)
   WHERE k.lasting AND k.id < o.id AND tstzrange(k.began_at, k.ended_at) && tstzrange(o.began_at, o.ended_at)
  UNION ALL
  SELECT 'an accession number that two have', c.animal_id FROM accessions c JOIN animal ON animal.id = c.animal_id
    JOIN accessions o ON o.number = c.number AND o.animal_id <> c.animal_id
   WHERE c.superseded_at IS NULL AND o.superseded_at IS NULL
  UNION ALL
  SELECT 'held and without an accession', h.whom FROM holding h
   WHERE NOT EXISTS (SELECT FROM accessions c JOIN record r USING (animal_id)
                      WHERE r.whom = h.whom AND c.site_id = h.site_id AND c.superseded_at IS NULL)
  UNION ALL
  SELECT 'a chip that two bear at one instant', m.whom FROM mark m
    JOIN mark o ON o.kind = m.kind AND o.folded = m.folded AND o.whom > m.whom
   WHERE m.kind = 'transponder' AND tstzrange(m.began_at, m.ended_at) && tstzrange(o.began_at, o.ended_at)
  UNION ALL
  SELECT 'born after it came', b.whom FROM birth b JOIN first_holding h USING (whom) WHERE b.born_first > h.began_on
  UNION ALL
  SELECT 'two births', whom FROM birth GROUP BY whom HAVING count(*) > 1
  UNION ALL
  SELECT 'its own parent', c.whom FROM parents p JOIN record c USING (animal_id)
    JOIN record o ON o.animal_id = p.parent_id
   WHERE p.superseded_at IS NULL AND o.whom = c.whom AND p.id NOT IN (SELECT id FROM aside)
  UNION ALL
  SELECT 'two open transfers', whom FROM move
   WHERE state IN ('proposed', 'agreed', 'dispatched') GROUP BY whom HAVING count(*) > 1
  UNION ALL
  SELECT 'a transfer that does not stand where its last step left it', m.whom
    FROM move m JOIN step s ON s.transfer_id = m.id WHERE s.state <> m.state
  UNION ALL
  SELECT 'on its way and not held by the sender', m.whom FROM move m
   WHERE m.state = 'dispatched' AND NOT EXISTS (
     SELECT FROM holding h WHERE h.whom = m.whom AND h.ended_at IS NULL AND h.site_id = m.from_site_id)
  UNION ALL
  SELECT 'fewer than no young', litter_id FROM (
    SELECT litter_id,
           sum(CASE kind WHEN 'born' THEN males WHEN 'sexed' THEN males ELSE -males END) AS males,
           sum(CASE kind WHEN 'born' THEN females WHEN 'sexed' THEN females ELSE -females END) AS females,
           sum(CASE kind WHEN 'born' THEN unknown WHEN 'sexed' THEN -males - females ELSE -unknown END) AS unknown
      FROM change GROUP BY litter_id) counted
   WHERE least(males, females, unknown) < 0
  UNION ALL
  SELECT 'something in a litter before its birth', litter_id FROM change WHERE happened_on < born_on
  UNION ALL
  SELECT 'told apart and not held since that day', c.whom FROM change c
   WHERE c.kind = 'told_apart' AND NOT EXISTS (
     SELECT FROM holding h WHERE h.whom = c.whom AND h.began_how = 'told_apart' AND h.site_id = c.home
        AND h.began_on = c.happened_on)
  UNION ALL
  SELECT 'never there, and linked with another', m.animal_id FROM merges m
   WHERE m.superseded_at IS NULL
     AND (m.animal_id IN (SELECT animal_id FROM mistake) OR m.into_id IN (SELECT animal_id FROM mistake))
  UNION ALL
  SELECT 'never there, and on its way', t.animal_id FROM transfers t JOIN mistake USING (animal_id)
   WHERE t.state NOT IN ('refused', 'cancelled')
  UNION ALL
  SELECT 'never there, and a parent', p.parent_id FROM parents p JOIN mistake m ON m.animal_id = p.parent_id
   WHERE p.superseded_at IS NULL AND p.animal_id NOT IN (SELECT animal_id FROM mistake)
  UNION ALL
  SELECT 'never there, and marked', k.animal_id FROM marks k JOIN mistake USING (animal_id) WHERE k.superseded_at IS NULL
  UNION ALL
  SELECT 'never there, and met the public', a.animal_id FROM encounter_animals a JOIN mistake USING (animal_id)
    JOIN encounters e ON e.id = a.encounter_id AND e.superseded_at IS NULL
  UNION ALL
  SELECT 'recorded of one that was never there', f.animal_id FROM mistakes m JOIN mistake USING (animal_id) JOIN (
    SELECT animal_id, recorded_at FROM weights UNION ALL SELECT animal_id, recorded_at FROM holdings
    UNION ALL SELECT animal_id, recorded_at FROM titles UNION ALL SELECT animal_id, recorded_at FROM deaths) f
      ON f.animal_id = m.animal_id AND f.recorded_at > m.recorded_at
   WHERE m.superseded_at IS NULL
  UNION ALL
  SELECT 'told apart out of no litter', h.whom FROM holding h
   WHERE h.began_how = 'told_apart' AND NOT EXISTS (SELECT FROM change c WHERE c.whom = h.whom)
)
SELECT DISTINCT what, whom FROM wrong ORDER BY what, whom
