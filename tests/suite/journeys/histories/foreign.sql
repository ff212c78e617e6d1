-- What somebody who reads at some sites ($2) of a stage ($1) must not be told: identifiers, numbers and names of
-- what is of other sites alone. By the rule in words: a site sees what it recorded and what is about it; the whole
-- life of an animal that it holds, owns or has agreed to take; of one that left, what was recorded until then.
WITH RECURSIVE animal AS MATERIALIZED (
  SELECT id, site_id FROM animals WHERE site_id = ANY ($1)
), up (record, whom, steps) AS (
  SELECT id, id, 0 FROM animal
  UNION ALL
  SELECT up.record, m.into_id, steps + 1
    FROM up JOIN merges m ON m.animal_id = up.whom AND m.superseded_at IS NULL WHERE steps < 99
), -- Whom a record is of: the animal at the end of its links.
record AS MATERIALIZED (
  SELECT DISTINCT ON (record) record AS animal_id, whom FROM up ORDER BY record, steps DESC
), -- What a link between records of an animal sets aside opens its own record and no other.
aside (fact_id) AS MATERIALIZED (
  SELECT a.fact_id FROM set_asides a JOIN merges m ON m.animal_id = a.record_id AND m.id = a.merge_id
   WHERE m.superseded_at IS NULL
), -- From when until when of knowing a site sees all of an animal; also by what stood before it was corrected.
sight (animal_id, until, alone) AS MATERIALIZED (
  SELECT animal_id, coalesce(ended_at, superseded_at, 'infinity'), id IN (SELECT fact_id FROM aside)
    FROM holdings WHERE site_id = ANY ($2)
  UNION ALL
  -- Nobody held it afterwards: whoever held it last answers for it still.
  SELECT h.animal_id, 'infinity', h.id IN (SELECT fact_id FROM aside)
    FROM holdings h JOIN record r ON r.animal_id = h.animal_id
   WHERE h.site_id = ANY ($2) AND h.superseded_at IS NULL AND h.ended_at IS NOT NULL
     AND NOT EXISTS (SELECT FROM holdings n JOIN record o ON o.animal_id = n.animal_id
                      WHERE o.whom = r.whom AND n.superseded_at IS NULL AND n.began_at >= h.ended_at)
  UNION ALL
  SELECT animal_id, coalesce(ended_at, superseded_at, 'infinity'), id IN (SELECT fact_id FROM aside)
    FROM titles WHERE owner_site_id = ANY ($2)
  UNION ALL
  SELECT animal_id, 'infinity', false FROM transfers WHERE to_site_id = ANY ($2) AND state IN ('agreed', 'dispatched')
  UNION ALL
  -- Whether it has a record of the same animal, a site can only say of what it reads.
  SELECT animal_id, 'infinity', false FROM amendments a
   WHERE asked_id = ANY ($2) AND NOT EXISTS (SELECT FROM amendment_answers n WHERE n.amendment_id = a.id)
), seen (animal_id, until) AS MATERIALIZED (
  SELECT animal_id, max(until) FROM (
    SELECT animal_id, until FROM sight
    UNION ALL
    -- Of what it holds, owns or takes now, the life under other records, too.
    SELECT o.animal_id, s.until FROM sight s JOIN record r USING (animal_id) JOIN record o USING (whom)
     WHERE s.until = 'infinity' AND NOT s.alone
  ) known GROUP BY animal_id
), fact (token, animal_id, site_id, recorded_at) AS MATERIALIZED (
  SELECT f.token, f.animal_id, f.site_id, f.recorded_at FROM (
    SELECT id::text AS token, animal_id, site_id, recorded_at FROM weights
    UNION ALL SELECT id::text, animal_id, site_id, recorded_at FROM assessments
    UNION ALL SELECT id::text, animal_id, site_id, recorded_at FROM placements
    UNION ALL SELECT id::text, animal_id, site_id, recorded_at FROM memberships
    UNION ALL SELECT id::text, animal_id, site_id, recorded_at FROM life_states
    UNION ALL SELECT id::text, animal_id, site_id, recorded_at FROM sexings
    UNION ALL SELECT id::text, animal_id, site_id, recorded_at FROM births
    UNION ALL SELECT id::text, animal_id, site_id, recorded_at FROM deaths
    UNION ALL SELECT id::text, animal_id, site_id, recorded_at FROM papers
    UNION ALL SELECT mark_id::text, animal_id, site_id, recorded_at FROM marks
    UNION ALL SELECT code, animal_id, site_id, recorded_at FROM marks WHERE length(code) > 8
    UNION ALL SELECT number, animal_id, site_id, recorded_at FROM accessions
    UNION ALL SELECT encounter_id::text, animal_id, site_id, recorded_at FROM encounter_animals
  ) f JOIN animal ON animal.id = f.animal_id
), met (animal_id) AS MATERIALIZED (
  SELECT animal_id FROM seen
  UNION SELECT animal_id FROM transfers WHERE from_site_id = ANY ($2) OR to_site_id = ANY ($2)
  UNION SELECT animal_id FROM fact WHERE site_id = ANY ($2)
  UNION SELECT id FROM animal WHERE site_id = ANY ($2)
  UNION SELECT animal_id FROM amendments WHERE asked_id = ANY ($2)
  UNION SELECT animal_id FROM loans WHERE lender_site_id = ANY ($2) OR borrower_site_id = ANY ($2)
), kin (animal_id) AS (
  SELECT animal_id FROM met
  -- Who its parents are is a part of what is known of an animal, and so is that it is one with another.
  UNION SELECT p.parent_id FROM parents p JOIN met USING (animal_id)
  UNION SELECT m.into_id FROM merges m JOIN met USING (animal_id)
  UNION SELECT m.animal_id FROM merges m JOIN met ON met.animal_id = m.into_id
), open_fact (token, opened) AS MATERIALIZED (
  SELECT f.token, site_id = ANY ($2) OR recorded_at < coalesce(seen.until, '-infinity')
    FROM fact f LEFT JOIN seen USING (animal_id)
  -- What is offered stands in the offer, and the number that it got in the receipt.
  UNION ALL
  SELECT word, true FROM transfers CROSS JOIN LATERAL (VALUES (from_number), (house_name)) offer (word)
   WHERE from_site_id = ANY ($2) OR to_site_id = ANY ($2)
  UNION ALL
  SELECT s.to_number, true FROM transfer_steps s JOIN transfers t ON t.id = s.transfer_id
   WHERE t.from_site_id = ANY ($2) OR t.to_site_id = ANY ($2)
)
SELECT DISTINCT token FROM (
  SELECT id::text AS token FROM animal WHERE id NOT IN (SELECT animal_id FROM kin)
  UNION ALL
  SELECT token FROM open_fact GROUP BY token HAVING NOT bool_or(opened)
  UNION ALL
  SELECT id::text FROM transfers
   WHERE from_site_id = ANY ($1) AND NOT (from_site_id = ANY ($2) OR to_site_id = ANY ($2))
  UNION ALL
  SELECT id::text FROM litters WHERE site_id = ANY ($1) AND NOT site_id = ANY ($2)
     AND id NOT IN (SELECT litter_id FROM litter_changes c JOIN met USING (animal_id))
  UNION ALL
  SELECT id::text FROM groups WHERE site_id = ANY ($1) AND NOT site_id = ANY ($2)
  UNION ALL
  SELECT id::text FROM concerns WHERE site_id = ANY ($1) AND NOT site_id = ANY ($2)
  UNION ALL
  SELECT check_id::text FROM checks WHERE site_id = ANY ($1) AND NOT site_id = ANY ($2)
  UNION ALL
  SELECT id::text FROM crate_readings WHERE site_id = ANY ($1) AND NOT site_id = ANY ($2)
) foreign_token
