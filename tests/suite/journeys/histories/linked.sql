-- The tables that a count reads, with records named as the animals that they are of and without what links set
-- aside; to be put before a query that knows nothing of links.
WITH RECURSIVE up (record, whom, steps) AS (
  SELECT id, id, 0 FROM animals
  UNION ALL
  SELECT up.record, m.into_id, steps + 1
    FROM up JOIN merges m ON m.animal_id = up.whom AND m.superseded_at IS NULL WHERE steps < 99
), record AS MATERIALIZED (
  SELECT record, whom FROM up
   WHERE NOT EXISTS (SELECT FROM merges m WHERE m.animal_id = up.whom AND m.superseded_at IS NULL)
), aside AS MATERIALIZED (
  SELECT unnest(set_aside) AS id FROM merges WHERE superseded_at IS NULL
), holdings AS (
  SELECT whom AS animal_id, site_id, began_on, began_how, ended_on, ended_how, superseded_at
    FROM public.holdings f JOIN record ON record = animal_id
   WHERE superseded_at IS NULL AND f.id NOT IN (SELECT id FROM aside)
), births AS (
  SELECT whom AS animal_id, born_first, superseded_at FROM public.births f JOIN record ON record = animal_id
   WHERE superseded_at IS NULL AND f.id NOT IN (SELECT id FROM aside)
), sexings AS (
  SELECT whom AS animal_id, sex, determined_on, superseded_at
    FROM public.sexings f JOIN record ON record = animal_id
   WHERE superseded_at IS NULL AND f.id NOT IN (SELECT id FROM aside)
), litter_changes AS (
  SELECT * FROM public.litter_changes f
   WHERE superseded_at IS NULL AND f.id NOT IN (SELECT id FROM aside)
),
