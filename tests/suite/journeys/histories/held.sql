-- Which animals these sites ($1) hold now, by the record that each goes by.
WITH RECURSIVE up (record, whom, steps) AS (
  SELECT id, id, 0 FROM animals
   WHERE site_id = ANY ($1) AND id NOT IN (SELECT animal_id FROM mistakes WHERE superseded_at IS NULL)
  UNION ALL
  SELECT up.record, m.into_id, steps + 1
    FROM up JOIN merges m ON m.animal_id = up.whom AND m.superseded_at IS NULL WHERE steps < 99
)
SELECT DISTINCT up.whom, h.site_id FROM holdings h JOIN up ON up.record = h.animal_id
 WHERE h.superseded_at IS NULL AND h.ended_at IS NULL
   AND NOT EXISTS (SELECT FROM merges m WHERE m.animal_id = up.whom AND m.superseded_at IS NULL)
   -- What a merge sets aside does not stand while it does.
   AND NOT EXISTS (SELECT FROM set_asides a JOIN merges m ON m.animal_id = a.record_id AND m.id = a.merge_id
                     JOIN up o ON o.record = m.animal_id AND o.whom = up.whom
                    WHERE a.fact_id = h.id AND m.superseded_at IS NULL)
