-- Invariant: at any instant one set of limits stands for a species, and one for an animal, at a site; an encounter
-- has one record, with the animals that took part.

CREATE TABLE encounter_limits (
  id             uuid PRIMARY KEY,
  site_id        uuid NOT NULL REFERENCES sites,
  taxon_id       uuid REFERENCES taxa,
  animal_id      uuid REFERENCES animals,
  content        jsonb NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  CONSTRAINT encounter_limits_of_guard CHECK (num_nonnulls(taxon_id, animal_id) = 1)
);
CREATE UNIQUE INDEX encounter_limits_taxon_key ON encounter_limits (site_id, taxon_id) WHERE superseded_at IS NULL;
CREATE UNIQUE INDEX encounter_limits_animal_key ON encounter_limits (site_id, animal_id)
  WHERE superseded_at IS NULL;
CREATE INDEX encounter_limits_site_id_idx ON encounter_limits (site_id);
CREATE INDEX encounter_limits_taxon_id_idx ON encounter_limits (taxon_id);
CREATE INDEX encounter_limits_animal_id_idx ON encounter_limits (animal_id);
CALL holt_guard_own('encounter_limits', 'What animals of a site may be asked to do with people.', '{
  "site_id": "The site.",
  "taxon_id": "The species that they hold for; null where they are an animal''s own.",
  "animal_id": "The animal that they hold for; null where they hold for a species.",
  "content": "Minutes and encounters a day, minutes a week, minutes of rest, free days a week; what is not there is not limited."
}');
-- About animals that the site has or had to do with, and no others.
CREATE POLICY of_ours ON encounter_limits AS RESTRICTIVE FOR INSERT WITH CHECK (animal_id IS NULL OR holt_part(animal_id));

CREATE TABLE encounters (
  id             uuid PRIMARY KEY,
  site_id        uuid NOT NULL REFERENCES sites,
  kind           text NOT NULL CONSTRAINT encounters_kind_guard CHECK (kind IN ('talk', 'feed', 'close')),
  began_at       timestamptz NOT NULL,
  ended_at       timestamptz NOT NULL,
  began_on       date NOT NULL,
  people         integer NOT NULL CONSTRAINT encounters_people_guard CHECK (people >= 0),
  incident       text NOT NULL,
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  -- For the foreign key that keeps who took part at the site of the encounter.
  CONSTRAINT encounters_site_id_id_key UNIQUE (site_id, id),
  CONSTRAINT encounters_interval_guard CHECK (ended_at > began_at)
);
CREATE INDEX encounters_began_idx ON encounters (site_id, began_at);
CALL holt_guard_own('encounters', 'Encounters of animals with the public.', '{
  "site_id": "The site.",
  "kind": "What it was: talk, feed or close.",
  "began_at": "When it began.",
  "ended_at": "When it ended.",
  "began_on": "The day on which it began, in the zone of the site.",
  "people": "Number of people; 0 where nobody counted.",
  "incident": "What went wrong; empty where nothing did.",
  "note": "Remarks."
}');

CREATE TABLE encounter_animals (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  encounter_id   uuid NOT NULL,
  site_id        uuid NOT NULL REFERENCES sites,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  PRIMARY KEY (animal_id, id),
  FOREIGN KEY (site_id, encounter_id) REFERENCES encounters (site_id, id)
);
CREATE INDEX encounter_animals_encounter_id_idx ON encounter_animals (encounter_id, site_id);
CREATE INDEX encounter_animals_site_id_idx ON encounter_animals (site_id);
CALL holt_guard('encounter_animals', 'Which animals took part in an encounter.', '{
  "id": "Identifier (UUIDv7).",
  "animal_id": "The animal.",
  "encounter_id": "The encounter.",
  "site_id": "The site.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY own ON encounter_animals
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
-- About animals that the site has or had to do with, and no others.
CREATE POLICY of_ours ON encounter_animals AS RESTRICTIVE FOR INSERT WITH CHECK (holt_part(animal_id));
