-- A count of some sites ($1, codes) from a day ($2) to a day ($3), from the tables alone; also measured
-- against in tests/benches/stock_return.rs. Moves between the sexes are what the columns leave over.
WITH stay AS (
  SELECT h.*, a.taxon_id FROM holdings h JOIN animals a ON a.id = h.animal_id JOIN sites s ON s.id = h.site_id
   WHERE h.superseded_at IS NULL AND s.code = ANY ($1)
), event (what, taxon_id, animal_id, day) AS (
  SELECT 'opening', taxon_id, animal_id, $2 - 1 FROM stay
   WHERE began_on < $2 AND (ended_on IS NULL OR ended_on >= $2)
  UNION ALL
  SELECT 'closing', taxon_id, animal_id, $3 FROM stay
   WHERE began_on <= $3 AND (ended_on IS NULL OR ended_on > $3)
  UNION ALL
  SELECT CASE began_how WHEN 'birth' THEN 'born' ELSE 'arrived' END, taxon_id, animal_id, began_on FROM stay
   WHERE began_on BETWEEN $2 AND $3 AND began_how <> 'told_apart'
  UNION ALL
  SELECT CASE ended_how WHEN 'escape' THEN 'escaped'
                        WHEN 'death' THEN CASE WHEN ended_on - b.born_first <= 30 THEN 'died_young' ELSE 'died' END
                        ELSE 'departed' END, taxon_id, stay.animal_id, ended_on
    FROM stay JOIN births b ON b.animal_id = stay.animal_id AND b.superseded_at IS NULL
   WHERE ended_on BETWEEN $2 AND $3
), one AS (
  SELECT what, taxon_id, coalesce((
           SELECT x.sex FROM sexings x
            WHERE x.animal_id = event.animal_id AND x.superseded_at IS NULL AND x.determined_on <= event.day
            ORDER BY x.determined_on DESC LIMIT 1), 'unknown') AS sex
    FROM event
), change AS (
  SELECT c.*, l.taxon_id, l.born_on,
         CASE kind WHEN 'born' THEN 1 WHEN 'sexed' THEN 1 ELSE -1 END AS sign
    FROM litter_changes c JOIN litters l ON l.id = c.litter_id JOIN sites s ON s.id = l.site_id
   WHERE c.superseded_at IS NULL AND s.code = ANY ($1)
), counted (what, taxon_id, males, females, unknown) AS (
  SELECT what, taxon_id, (sex = 'male')::int, (sex = 'female')::int, (sex = 'unknown')::int FROM one
  UNION ALL
  SELECT w.what, taxon_id, sign * males, sign * females,
         CASE kind WHEN 'sexed' THEN -males - females ELSE sign * unknown END
    FROM change JOIN (VALUES ('opening', $2 - 1), ('closing', $3)) w (what, day) ON happened_on <= w.day
  UNION ALL
  SELECT CASE WHEN kind = 'born' THEN 'born' WHEN happened_on - born_on <= 30 THEN 'died_young' ELSE 'died' END,
         taxon_id, males, females, unknown
    FROM change WHERE kind IN ('born', 'died') AND happened_on BETWEEN $2 AND $3
)
SELECT t.scientific_name, c.what, sum(c.males)::bigint, sum(c.females)::bigint, sum(c.unknown)::bigint
  FROM counted c JOIN taxon_names t ON t.taxon_id = c.taxon_id AND t.accepted GROUP BY 1, 2
