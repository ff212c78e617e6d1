-- Invariant: on no day are fewer than no young of any sex counted in a litter; a young that was told apart
-- left the count of one litter, once.

CREATE TABLE litters (
  id          uuid PRIMARY KEY,
  site_id     uuid NOT NULL REFERENCES sites,
  taxon_id    uuid NOT NULL REFERENCES taxa,
  born_on     date NOT NULL,
  note        text NOT NULL,
  version     bigint NOT NULL,
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  -- For the foreign keys that keep what is of a litter at its site.
  CONSTRAINT litters_site_id_id_key UNIQUE (site_id, id)
);
CREATE INDEX litters_site_id_idx ON litters (site_id, born_on);
CREATE INDEX litters_taxon_id_idx ON litters (taxon_id);
CALL holt_guard('litters', 'Young of one birth that are counted, and not yet told apart.', '{
  "id": "Identifier (UUIDv7).",
  "site_id": "The site where they were born.",
  "taxon_id": "Species.",
  "born_on": "Day of birth, or the day on which it was first seen, in the zone of the site.",
  "note": "Remarks.",
  "version": "Grows by one with each change.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
GRANT UPDATE (version) ON litters TO holt_service;
CREATE POLICY own ON litters
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));

CREATE TABLE litter_parents (
  id             uuid PRIMARY KEY,
  litter_id      uuid NOT NULL,
  site_id        uuid NOT NULL REFERENCES sites,
  parent_id      uuid NOT NULL REFERENCES animals,
  kind           text NOT NULL CONSTRAINT litter_parents_kind_guard CHECK (kind IN ('dam', 'sire')),
  share          double precision NOT NULL
                 CONSTRAINT litter_parents_share_guard CHECK (share > 0 AND share <= 1),
  because        text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  FOREIGN KEY (site_id, litter_id) REFERENCES litters (site_id, id)
);
CREATE UNIQUE INDEX litter_parents_once_key ON litter_parents (litter_id, kind, parent_id)
  WHERE superseded_at IS NULL;
CREATE UNIQUE INDEX litter_parents_one_dam_key ON litter_parents (litter_id)
  WHERE superseded_at IS NULL AND kind = 'dam';
CREATE INDEX litter_parents_litter_id_idx ON litter_parents (litter_id, site_id);
CREATE INDEX litter_parents_parent_id_idx ON litter_parents (parent_id);
CREATE INDEX litter_parents_site_id_idx ON litter_parents (site_id);
CALL holt_guard_own('litter_parents', 'Dam and possible sires of a litter.', '{
  "litter_id": "The litter.",
  "site_id": "The site that recorded it.",
  "parent_id": "The parent.",
  "kind": "dam or sire.",
  "share": "How likely this one is the sire, 1 where it is certain.",
  "because": "Why it was accepted although it does not fit by the records."
}');
-- A parent is an animal that the site sees.
CREATE POLICY of_one_seen ON litter_parents AS RESTRICTIVE FOR INSERT
  WITH CHECK (EXISTS (SELECT FROM animals a WHERE a.id = parent_id));

CREATE TABLE litter_changes (
  id             uuid PRIMARY KEY,
  litter_id      uuid NOT NULL,
  site_id        uuid NOT NULL REFERENCES sites,
  kind           text NOT NULL CONSTRAINT litter_changes_kind_guard
                 CHECK (kind IN ('born', 'died', 'sexed', 'told_apart')),
  happened_on    date NOT NULL,
  males          bigint NOT NULL,
  females        bigint NOT NULL,
  unknown        bigint NOT NULL,
  animal_id      uuid REFERENCES animals,
  manner         text NOT NULL CONSTRAINT litter_changes_manner_guard
                 CHECK (manner IN ('', 'natural', 'euthanasia', 'accident', 'by_animal', 'unknown')),
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  FOREIGN KEY (site_id, litter_id) REFERENCES litters (site_id, id),
  CONSTRAINT litter_changes_young_guard CHECK (
    males >= 0 AND females >= 0 AND unknown >= 0 AND males + females + unknown > 0
    AND (kind <> 'sexed' OR unknown = 0) AND (kind <> 'told_apart' OR males + females + unknown = 1)),
  CONSTRAINT litter_changes_animal_guard CHECK ((kind = 'told_apart') = (animal_id IS NOT NULL)),
  CONSTRAINT litter_changes_manner_of_death_guard CHECK ((kind = 'died') = (manner <> ''))
);
CREATE UNIQUE INDEX litter_changes_told_apart_key ON litter_changes (animal_id)
  WHERE superseded_at IS NULL;
CREATE INDEX litter_changes_litter_id_idx ON litter_changes (litter_id, happened_on);
CREATE INDEX litter_changes_site_id_idx ON litter_changes (site_id, litter_id);
CREATE INDEX litter_changes_animal_id_idx ON litter_changes (animal_id);
CALL holt_guard_own('litter_changes', 'What happened to the count of a litter, day by day.', '{
  "litter_id": "The litter.",
  "site_id": "The site.",
  "kind": "born, died, sexed (of unknown sex, found to be male or female) or told_apart.",
  "happened_on": "Day on which it happened, in the zone of the site.",
  "males": "Males that were born, died or were told apart; of those sexed, found to be male.",
  "females": "Females, likewise.",
  "unknown": "Young of unknown sex, likewise.",
  "animal_id": "The animal that was told apart.",
  "manner": "For deaths: natural, euthanasia, accident, by_animal or unknown.",
  "note": "What was seen or found."
}');

-- About animals that the site has or had to do with, and no others.
CREATE POLICY of_ours ON litter_changes AS RESTRICTIVE FOR INSERT WITH CHECK (animal_id IS NULL OR holt_part(animal_id));

-- At the end of every transaction that touched a litter, on each day and for each sex at least none are
-- left. The litter's row is locked first, so that of two at once the second sees what the first did.
-- Within a day what adds comes before what takes away: a young may be born, sexed and dead on one day.
CREATE FUNCTION holt_litter_counts(litter uuid) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
  short date;
BEGIN
  PERFORM FROM public.litters WHERE id = litter FOR NO KEY UPDATE;
  SELECT min(day) INTO short FROM (
    SELECT c.happened_on AS day,
           sum(sum(CASE c.kind WHEN 'born' THEN c.males WHEN 'sexed' THEN c.males ELSE -c.males END))
             OVER days AS males,
           sum(sum(CASE c.kind WHEN 'born' THEN c.females WHEN 'sexed' THEN c.females ELSE -c.females END))
             OVER days AS females,
           sum(sum(CASE c.kind WHEN 'born' THEN c.unknown WHEN 'sexed' THEN -c.males - c.females
                               ELSE -c.unknown END))
             OVER days AS unknown
      FROM public.litter_changes c
     WHERE c.litter_id = litter AND c.superseded_at IS NULL
       -- One young that was told apart twice left the count once.
       AND (c.animal_id IS NULL OR NOT public.holt_set_aside(c.id, public.holt_animal(c.animal_id)))
       -- One that never was did not leave it.
       AND (c.animal_id IS NULL OR NOT public.holt_never_was(c.animal_id))
     GROUP BY c.happened_on
    WINDOW days AS (ORDER BY c.happened_on)
  ) AS counted
  WHERE least(males, females, unknown) < 0;
  IF short IS NOT NULL THEN
    RAISE EXCEPTION 'fewer than no young are left in litter % on %', litter, short
      USING ERRCODE = 'check_violation', CONSTRAINT = 'litter_changes_holds_out_guard',
            TABLE = 'litter_changes';
  END IF;
END
$$;
CREATE FUNCTION holt_litter_holds_out() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  PERFORM public.holt_litter_counts(NEW.litter_id);
  RETURN NULL;
END
$$;
CREATE CONSTRAINT TRIGGER holds_out AFTER INSERT OR UPDATE ON litter_changes
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_litter_holds_out();
