-- Invariant: an animal is one row for life; what is known of it are facts that supersede one another and
-- are never changed in place.

CREATE TABLE taxa (
  id              uuid PRIMARY KEY,
  scientific_name text NOT NULL CONSTRAINT taxa_scientific_name_key UNIQUE,
  common_name     text NOT NULL,
  breeds_from_days   integer CONSTRAINT taxa_breeds_from_guard CHECK (breeds_from_days BETWEEN 1 AND 36600),
  carries_up_to_days integer CONSTRAINT taxa_carries_guard CHECK (carries_up_to_days BETWEEN 1 AND 3660),
  recorded_at     timestamptz NOT NULL,
  recorded_by     uuid NOT NULL,
  request_id      uuid NOT NULL
);
CALL holt_guard('taxa', 'Species and subspecies.', '{
  "id": "Identifier (UUIDv7).",
  "scientific_name": "Genus, species, subspecies.",
  "common_name": "Name as people say it.",
  "breeds_from_days": "Age in days from which it can be a parent; null where not stated.",
  "carries_up_to_days": "Longest time in days from mating to birth; null where not stated.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY read ON taxa FOR SELECT USING ((SELECT holt_inside()));
CREATE POLICY record ON taxa FOR INSERT WITH CHECK ((SELECT holt_inside()));

CREATE TABLE animals (
  id          uuid PRIMARY KEY,
  site_id     uuid NOT NULL REFERENCES sites,
  taxon_id    uuid NOT NULL REFERENCES taxa,
  version     bigint NOT NULL DEFAULT 1,
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL
);
CREATE INDEX animals_site_id_idx ON animals (site_id);
CREATE INDEX animals_taxon_id_idx ON animals (taxon_id);
CALL holt_guard('animals', 'Individuals, for life and across all sites.', '{
  "id": "Identifier (UUIDv7), never reused.",
  "site_id": "The site that first recorded it.",
  "taxon_id": "Species.",
  "version": "Grows by one with each change of identity, holding or marks.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
GRANT UPDATE (version) ON animals TO holt_service;
CREATE POLICY read ON animals FOR SELECT USING (
  site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere())
  OR holt_sees(id, recorded_at));
CREATE POLICY record ON animals FOR INSERT
  WITH CHECK (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
CREATE POLICY change ON animals FOR UPDATE USING (
  site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere())
  OR holt_sees(id, recorded_at));

CREATE TABLE births (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  born_first     date,
  born_last      date,
  estimated      boolean NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id),
  CONSTRAINT births_days_guard CHECK (born_first <= born_last AND (born_first IS NULL) = (born_last IS NULL))
);
CREATE UNIQUE INDEX births_one_key ON births (animal_id) WHERE superseded_at IS NULL;
CREATE INDEX births_site_id_idx ON births (site_id);
CALL holt_guard_fact('births', 'When an animal was born, as closely as it is known.', '{
  "site_id": "The site that recorded it.",
  "born_first": "First day that it can have been; null where nothing is known.",
  "born_last": "Last day that it can have been: the same day, or the end of the month or year.",
  "estimated": "Whether the days are an estimate."
}');

CREATE TABLE parents (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  parent_id      uuid NOT NULL REFERENCES animals,
  kind           text NOT NULL CONSTRAINT parents_kind_guard CHECK (kind IN ('dam', 'sire')),
  share          double precision NOT NULL CONSTRAINT parents_share_guard CHECK (share > 0 AND share <= 1),
  because        text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id),
  CONSTRAINT parents_not_itself_guard CHECK (parent_id <> animal_id)
);
CREATE UNIQUE INDEX parents_once_key ON parents (animal_id, kind, parent_id) WHERE superseded_at IS NULL;
CREATE UNIQUE INDEX parents_one_dam_key ON parents (animal_id) WHERE superseded_at IS NULL AND kind = 'dam';
CREATE INDEX parents_parent_id_idx ON parents (parent_id);
CREATE INDEX parents_site_id_idx ON parents (site_id);
CALL holt_guard_fact('parents', 'Dam and possible sires of an animal.', '{
  "site_id": "The site that recorded it.",
  "parent_id": "The parent.",
  "kind": "dam or sire.",
  "share": "How likely this one is the sire, 1 where it is certain.",
  "because": "Why it was accepted although it does not fit by the records; empty where it fits."
}');

CREATE TABLE sexings (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  sex            text NOT NULL CONSTRAINT sexings_sex_guard CHECK (sex IN ('male', 'female', 'unknown')),
  determined_on  date NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id)
);
CREATE UNIQUE INDEX sexings_one_a_day_key ON sexings (animal_id, determined_on) WHERE superseded_at IS NULL;
CREATE INDEX sexings_site_id_idx ON sexings (site_id);
CALL holt_guard_fact('sexings', 'Sex of an animal, from a day on.', '{
  "site_id": "The site that recorded it.",
  "sex": "male, female or unknown.",
  "determined_on": "Day from which it counts, in the zone of that site."
}');

CREATE TABLE accession_counters (
  site_id uuid NOT NULL REFERENCES sites,
  year    integer NOT NULL CONSTRAINT accession_counters_year_guard CHECK (year BETWEEN 0 AND 99),
  last    integer NOT NULL,
  PRIMARY KEY (site_id, year)
);
CALL holt_guard('accession_counters', 'Last accession serial that a site gave out for the last two digits of a year.', '{
  "site_id": "The site.",
  "year": "The last two digits of the year.",
  "last": "The serial."
}');
GRANT UPDATE (last) ON accession_counters TO holt_service;
CREATE POLICY own ON accession_counters
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));

CREATE TABLE accessions (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  number         text NOT NULL,
  taken_on       date NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id)
);
CREATE UNIQUE INDEX accessions_number_key ON accessions (number) WHERE superseded_at IS NULL;
CREATE UNIQUE INDEX accessions_one_a_site_key ON accessions (animal_id, site_id) WHERE superseded_at IS NULL;
CREATE INDEX accessions_site_id_idx ON accessions (site_id);
CALL holt_guard_fact('accessions', 'The number under which a site took an animal into its records.', '{
  "site_id": "The site.",
  "number": "Site, year, serial: QUI-26-0042.",
  "taken_on": "Day it was taken in, in the zone of the site."
}');

CREATE TABLE deaths (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  died_at        timestamptz NOT NULL,
  died_on        date NOT NULL,
  day_only       boolean NOT NULL,
  manner         text NOT NULL CONSTRAINT deaths_manner_guard
                 CHECK (manner IN ('natural', 'euthanasia', 'accident', 'by_animal', 'unknown')),
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id)
);
CREATE UNIQUE INDEX deaths_once_key ON deaths (animal_id) WHERE superseded_at IS NULL;
CREATE INDEX deaths_site_id_idx ON deaths (site_id);
CALL holt_guard_fact('deaths', 'Death of an animal.', '{
  "site_id": "The site that answered for it.",
  "died_at": "Instant of death; the end of the day where only the day is known.",
  "died_on": "Day of death in the zone of the site.",
  "day_only": "Whether only the day is known.",
  "manner": "natural, euthanasia, accident, by_animal or unknown.",
  "note": "What was seen or found."
}', true);
