-- Invariant: at no instant has an animal two holders, two owners or two living places.

CREATE TABLE holdings (
  id              uuid NOT NULL,
  animal_id       uuid NOT NULL REFERENCES animals,
  site_id         uuid NOT NULL REFERENCES sites,
  began_at        timestamptz NOT NULL,
  began_on        date NOT NULL,
  began_how       text NOT NULL CONSTRAINT holdings_began_how_guard
                  CHECK (began_how IN ('birth', 'arrival', 'transfer', 'told_apart')),
  began_source    text NOT NULL DEFAULT '',
  began_name      text NOT NULL DEFAULT '',
  began_country   text NOT NULL DEFAULT '' CONSTRAINT holdings_began_country_guard
                  CHECK (began_country ~ '^([A-Z]{2})?$'),
  ended_at        timestamptz,
  ended_on        date,
  ended_how       text CONSTRAINT holdings_ended_how_guard
                  CHECK (ended_how IN ('death', 'departure', 'escape', 'transfer')),
  ended_source    text NOT NULL DEFAULT '',
  ended_name      text NOT NULL DEFAULT '',
  ended_country   text NOT NULL DEFAULT '' CONSTRAINT holdings_ended_country_guard
                  CHECK (ended_country ~ '^([A-Z]{2})?$'),
  transfer_in     uuid,
  transfer_out    uuid,
  recorded_at     timestamptz NOT NULL,
  recorded_by     uuid NOT NULL,
  request_id      uuid NOT NULL,
  superseded_at   timestamptz,
  superseded_in   uuid,
  superseded_why  text,
  PRIMARY KEY (animal_id, id),
  CONSTRAINT holdings_interval_guard CHECK (ended_at > began_at AND ended_on >= began_on),
  CONSTRAINT holdings_end_guard CHECK ((ended_at IS NULL) = (ended_on IS NULL)
                                   AND (ended_at IS NULL) = (ended_how IS NULL)),
  CONSTRAINT holdings_one_holder EXCLUDE USING gist
    (animal_id WITH =, tstzrange(began_at, ended_at) WITH &&) WHERE (superseded_at IS NULL)
);
CREATE INDEX holdings_site_id_idx ON holdings (site_id, began_on);
CALL holt_guard_fact('holdings', 'Who keeps an animal, as an interval.', '{
  "site_id": "The site that holds it.",
  "began_at": "First instant; the start of the day where only the day is known.",
  "began_on": "Day it came onto the books, in the zone of the site.",
  "began_how": "birth, arrival, transfer, or told_apart from the litter in which it was counted until then.",
  "began_source": "For an arrival, what kind of place it came from.",
  "began_name": "For an arrival, whom or where it came from.",
  "began_country": "For an arrival, the country it came from: two letters of ISO 3166-1; empty where not stated.",
  "ended_at": "First instant after; the end of the day where only the day is known; null while it lasts.",
  "ended_on": "Day it went off the books, in the zone of the site.",
  "ended_how": "death, departure, escape or transfer.",
  "ended_source": "For a departure, what kind of place it went to.",
  "ended_name": "For a departure, where or to whom it went.",
  "ended_country": "For a departure, the country it went to: two letters of ISO 3166-1; empty where not stated.",
  "transfer_in": "The transfer that began it.",
  "transfer_out": "The transfer that ended it."
}');

CREATE TABLE titles (
  id              uuid NOT NULL,
  animal_id       uuid NOT NULL REFERENCES animals,
  site_id         uuid NOT NULL REFERENCES sites,
  owner_site_id   uuid REFERENCES sites,
  owner_name      text NOT NULL,
  began_at        timestamptz NOT NULL,
  ended_at        timestamptz,
  recorded_at     timestamptz NOT NULL,
  recorded_by     uuid NOT NULL,
  request_id      uuid NOT NULL,
  superseded_at   timestamptz,
  superseded_in   uuid,
  superseded_why  text,
  PRIMARY KEY (animal_id, id),
  CONSTRAINT titles_interval_guard CHECK (ended_at > began_at),
  CONSTRAINT titles_owner_guard CHECK ((owner_site_id IS NULL) = (owner_name <> '')),
  CONSTRAINT titles_one_owner EXCLUDE USING gist
    (animal_id WITH =, tstzrange(began_at, ended_at) WITH &&) WHERE (superseded_at IS NULL)
);
CREATE INDEX titles_site_id_idx ON titles (site_id);
CREATE INDEX titles_owner_site_id_idx ON titles (owner_site_id);
CALL holt_guard_fact('titles', 'Who owns an animal, as an interval.', '{
  "site_id": "The site that recorded it.",
  "owner_site_id": "The owner, where it is a site in Holt.",
  "owner_name": "The owner, where it is somebody else.",
  "began_at": "First instant.",
  "ended_at": "First instant after; null while it lasts."
}');

CREATE TABLE placements (
  id              uuid NOT NULL,
  animal_id       uuid NOT NULL REFERENCES animals,
  site_id         uuid NOT NULL,
  enclosure_id    uuid NOT NULL,
  began_at        timestamptz NOT NULL,
  ended_at        timestamptz,
  recorded_at     timestamptz NOT NULL,
  recorded_by     uuid NOT NULL,
  request_id      uuid NOT NULL,
  superseded_at   timestamptz,
  superseded_in   uuid,
  superseded_why  text,
  PRIMARY KEY (animal_id, id),
  FOREIGN KEY (site_id, enclosure_id) REFERENCES enclosures (site_id, id),
  CONSTRAINT placements_interval_guard CHECK (ended_at > began_at),
  CONSTRAINT placements_one_place EXCLUDE USING gist
    (animal_id WITH =, tstzrange(began_at, ended_at) WITH &&) WHERE (superseded_at IS NULL)
);
CREATE INDEX placements_enclosure_idx ON placements (site_id, enclosure_id);
CALL holt_guard_fact('placements', 'Which enclosure an animal lives in, as an interval.', '{
  "site_id": "The site of the enclosure.",
  "enclosure_id": "The enclosure.",
  "began_at": "First instant.",
  "ended_at": "First instant after; null while it lasts."
}');
