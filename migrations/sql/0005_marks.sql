-- Invariant: a transponder is in force on one animal at a time.

CREATE TABLE marks (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  mark_id        uuid NOT NULL,
  kind           text NOT NULL CONSTRAINT marks_kind_guard
                 CHECK (kind IN ('transponder', 'ring', 'tattoo', 'ear_notch', 'natural', 'house_name',
                                 'former_number')),
  code           text NOT NULL CONSTRAINT marks_code_guard CHECK (code <> ''),
  folded         text GENERATED ALWAYS AS (lower(code)) STORED,
  turned         text GENERATED ALWAYS AS (reverse(lower(code))) STORED,
  place_on_body  text NOT NULL,
  issuer         text NOT NULL,
  began_at       timestamptz NOT NULL,
  ended_at       timestamptz,
  ended_why      text NOT NULL DEFAULT '',
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id),
  CONSTRAINT marks_interval_guard CHECK (ended_at >= began_at),
  CONSTRAINT marks_transponder_in_use EXCLUDE USING gist
    (code WITH =, tstzrange(began_at, ended_at) WITH &&)
    WHERE (kind = 'transponder' AND superseded_at IS NULL)
);
-- Columns, not expressions: row-level security keeps an index on lower(code) from being used, for lower() might
-- leak what it is given. Compared byte by byte, so that they serve beginnings, too.
CREATE INDEX marks_folded_idx ON marks (folded text_pattern_ops);
CREATE INDEX marks_turned_idx ON marks (turned text_pattern_ops) WHERE superseded_at IS NULL;
CREATE INDEX marks_site_id_idx ON marks (site_id);
CALL holt_guard_fact('marks', 'How an animal is told apart, as an interval.', '{
  "site_id": "The site that recorded it.",
  "mark_id": "The mark, the same over all versions of what is known of it.",
  "kind": "transponder, ring, tattoo, ear_notch, natural, house_name or former_number.",
  "code": "The code, name or description.",
  "folded": "The code in small letters, to find it by in any case.",
  "turned": "The same from its end to its beginning, to find it by its end.",
  "place_on_body": "Where on the body.",
  "issuer": "Whose number a transponder carries.",
  "began_at": "When it was put on or first seen.",
  "ended_at": "When it was gone; null while in force.",
  "ended_why": "Why it ended."
}', true);
