-- Invariant: an animal is one row for life; what is known of it are facts that supersede one another and
-- are never changed in place.

CREATE TABLE taxa (
  id              uuid PRIMARY KEY,
  recorded_at     timestamptz NOT NULL,
  recorded_by     uuid NOT NULL,
  request_id      uuid NOT NULL
);
CALL holt_guard('taxa', 'Species and subspecies, whatever they are called.', '{
  "id": "Identifier (UUIDv7).",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY read ON taxa FOR SELECT USING ((SELECT holt_inside()));
CREATE POLICY record ON taxa FOR INSERT WITH CHECK ((SELECT holt_inside()));

-- Accepted names and synonyms in one table, so that one key holds over both: a name means one species. What
-- else is said of a species stands with its accepted name.
CREATE TABLE taxon_names (
  id                 uuid PRIMARY KEY,
  taxon_id           uuid NOT NULL REFERENCES taxa,
  scientific_name    text NOT NULL CONSTRAINT taxon_names_name_guard CHECK (scientific_name <> ''),
  accepted           boolean NOT NULL,
  until_year         integer CONSTRAINT taxon_names_until_year_guard CHECK (until_year BETWEEN 1758 AND 9999),
  source             text NOT NULL,
  common_name        text NOT NULL,
  cites_appendix     text NOT NULL CONSTRAINT taxon_names_cites_appendix_guard
                     CHECK (cites_appendix IN ('', 'none', 'I', 'II', 'III')),
  breeds_from_days   integer CONSTRAINT taxon_names_breeds_from_guard
                     CHECK (breeds_from_days BETWEEN 1 AND 36600),
  carries_up_to_days integer CONSTRAINT taxon_names_carries_guard CHECK (carries_up_to_days BETWEEN 1 AND 3660),
  recorded_at        timestamptz NOT NULL,
  recorded_by        uuid NOT NULL,
  request_id         uuid NOT NULL,
  superseded_at      timestamptz,
  superseded_in      uuid,
  superseded_why     text,
  CONSTRAINT taxon_names_synonym_guard CHECK (accepted OR (common_name = '' AND cites_appendix = ''
    AND breeds_from_days IS NULL AND carries_up_to_days IS NULL)),
  CONSTRAINT taxon_names_accepted_guard CHECK (NOT accepted OR until_year IS NULL)
);
CREATE UNIQUE INDEX taxon_names_scientific_name_key ON taxon_names (scientific_name) WHERE superseded_at IS NULL;
CREATE UNIQUE INDEX taxon_names_one_accepted_key ON taxon_names (taxon_id) WHERE superseded_at IS NULL AND accepted;
CREATE INDEX taxon_names_taxon_id_idx ON taxon_names (taxon_id);
CALL holt_guard('taxon_names', 'What a species is called: one accepted name with what is said of it, and synonyms.', '{
  "id": "Identifier of this version (UUIDv7).",
  "taxon_id": "The species.",
  "scientific_name": "Genus, species, subspecies.",
  "accepted": "Whether it is the accepted name; a synonym otherwise.",
  "until_year": "For a synonym, the year of the publication since which it is one; null where not known.",
  "source": "Who says so: the publication or the list that the name is taken from.",
  "common_name": "Name as people say it; of the accepted name alone.",
  "cites_appendix": "Appendix of CITES in which it is listed: I, II, III, none, or empty where not stated.",
  "breeds_from_days": "Age in days from which it can be a parent; null where not stated.",
  "carries_up_to_days": "Longest time in days from mating to birth; null where not stated.",
  "recorded_at": "When this version was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it.",
  "superseded_at": "When another version took its place; null while it stands.",
  "superseded_in": "The write that superseded it.",
  "superseded_why": "Why it was superseded."
}');
GRANT UPDATE (superseded_at, superseded_in, superseded_why) ON taxon_names TO holt_service;
CREATE TRIGGER supersede_once BEFORE UPDATE ON taxon_names
  FOR EACH ROW EXECUTE FUNCTION holt_supersede_once();
CREATE POLICY read ON taxon_names FOR SELECT USING ((SELECT holt_inside()));
-- A site names a species that is new to all, and says nothing of the law; the rest is the curator's.
CREATE POLICY record ON taxon_names FOR INSERT WITH CHECK (
  (SELECT holt_everywhere()) OR ((SELECT holt_inside()) AND cites_appendix = '' AND holt_unnamed(taxon_id)));
CREATE POLICY supersede ON taxon_names FOR UPDATE USING ((SELECT holt_everywhere()));

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
}', true);

CREATE TABLE parents (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  parent_id      uuid NOT NULL REFERENCES animals,
  kind           text NOT NULL CONSTRAINT parents_kind_guard CHECK (kind IN ('dam', 'sire')),
  share          double precision NOT NULL CONSTRAINT parents_share_guard CHECK (share > 0 AND share <= 1),
  because        text NOT NULL,
  known_by       text NOT NULL
                 CONSTRAINT parents_known_by_guard CHECK (known_by IN ('not_said', 'observed', 'genetic', 'assumed')),
  note           text NOT NULL,
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
  "because": "Why it was accepted although it does not fit by the records; empty where it fits.",
  "known_by": "How it is known: not_said, observed, genetic or assumed.",
  "note": "Who says so, such as the report of a laboratory; empty where nothing was said."
}', true);
-- A parent is an animal that the site sees, or one that is on record as its parent: of an animal that came from
-- elsewhere, the holder corrects what was recorded there.
CREATE FUNCTION holt_known_parent(animal uuid, parent uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN EXISTS (SELECT FROM parents p WHERE p.animal_id = animal AND p.parent_id = parent);
END
$$;
CREATE POLICY of_one_seen ON parents AS RESTRICTIVE FOR INSERT
  WITH CHECK (EXISTS (SELECT FROM animals a WHERE a.id = parent_id) OR holt_known_parent(animal_id, parent_id));

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
}', true);

CREATE TABLE accession_counters (
  site_id uuid NOT NULL REFERENCES sites,
  year    integer NOT NULL CONSTRAINT accession_counters_year_guard CHECK (year BETWEEN 0 AND 99),
  last    integer NOT NULL CONSTRAINT accession_counters_full CHECK (last BETWEEN 0 AND 99999),
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
  turned         text GENERATED ALWAYS AS (reverse(number)) STORED,
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
CREATE INDEX accessions_beginning_idx ON accessions (number text_pattern_ops);
CREATE INDEX accessions_turned_idx ON accessions (turned text_pattern_ops) WHERE superseded_at IS NULL;

-- The last of so many serials in a row that a site has not given yet, after one. What was taken in with a number of
-- its own may stand anywhere before it.
CREATE FUNCTION holt_next_serial(code text, year integer, last integer, more integer) RETURNS integer
LANGUAGE plpgsql STABLE AS $$
DECLARE
  taken integer;
BEGIN
  LOOP
    -- A scalar query: one that is joined would read all numbers there are, and ask of each whose it is.
    SELECT max(n) INTO taken FROM generate_series(last + 1, last + more) n
     WHERE (SELECT true FROM public.accessions a WHERE a.number =
              code || '-' || lpad(year::text, 2, '0') || '-' || lpad(n::text, greatest(4, length(n::text)), '0')
             LIMIT 1);
    EXIT WHEN taken IS NULL;
    last := taken;
  END LOOP;
  RETURN last + more;
END
$$;
CALL holt_guard_fact('accessions', 'The number under which a site took an animal into its records.', '{
  "site_id": "The site.",
  "number": "Site, year, serial: QUI-26-0042.",
  "turned": "The number from its end to its beginning, to find it by its serial.",
  "taken_on": "Day it was taken in, in the zone of the site."
}');

CREATE TABLE deaths (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  died_at        timestamptz NOT NULL,
  died_on        date NOT NULL,
  day_only       boolean NOT NULL,
  died_first     date,
  died_last      date,
  found_on       date,
  manner         text NOT NULL CONSTRAINT deaths_manner_guard
                 CHECK (manner IN ('natural', 'euthanasia', 'accident', 'by_animal', 'unknown')),
  note           text NOT NULL,
  post_mortem    text NOT NULL CONSTRAINT deaths_post_mortem_guard
                 CHECK (post_mortem IN ('', 'not_done', 'asked_for', 'done')),
  post_mortem_result text NOT NULL,
  disposal       text NOT NULL CONSTRAINT deaths_disposal_guard
                 CHECK (disposal IN ('', 'incinerated', 'buried', 'collection', 'sample', 'rendered', 'unknown')),
  disposal_name  text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id),
  CONSTRAINT deaths_days_guard CHECK (died_first <= died_last AND (died_first IS NULL) = (died_last IS NULL)
                                 AND died_first <= died_on),
  CONSTRAINT deaths_found_guard CHECK (coalesce(died_first = died_last AND died_on = died_first, false)
                                  OR coalesce(found_on = died_on, false)),
  CONSTRAINT deaths_result_guard CHECK (post_mortem = 'done' OR post_mortem_result = ''),
  CONSTRAINT deaths_collection_guard CHECK (disposal <> 'collection' OR disposal_name <> '')
);
CREATE UNIQUE INDEX deaths_once_key ON deaths (animal_id) WHERE superseded_at IS NULL;
CREATE INDEX deaths_site_id_idx ON deaths (site_id);
CALL holt_guard_fact('deaths', 'Death of an animal.', '{
  "site_id": "The site that answered for it.",
  "died_at": "Instant from which it is off the books: that of its death, or the end of died_on.",
  "died_on": "Day from which it is off the books, in the zone of the site: that of its death where it is known whole, else the day on which it was found.",
  "day_only": "Whether the instant is not known.",
  "died_first": "First day on which it can have died; null where nothing is known.",
  "died_last": "Last day on which it can have died: the same day, or the end of the month or year.",
  "found_on": "Day on which it was found dead, in the zone of the site; null where not told.",
  "manner": "natural, euthanasia, accident, by_animal or unknown.",
  "note": "What was seen or found.",
  "post_mortem": "not_done, asked_for, done, or empty where not told.",
  "post_mortem_result": "What the post-mortem found.",
  "disposal": "incinerated, buried, collection, sample, rendered, unknown, or empty where not told.",
  "disposal_name": "Museum, collection or place that has the body."
}', true);
-- The destination records the loss of an animal on its way for the sender.
CREATE POLICY record_lost ON deaths FOR INSERT WITH CHECK (holt_on_the_way_from(animal_id, site_id));
