-- Invariant: an animal that was found to be another is so once; whatever named it before names that other.

CREATE TABLE merges (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  into_id        uuid NOT NULL REFERENCES animals,
  because        text NOT NULL CONSTRAINT merges_because_guard CHECK (because <> ''),
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id),
  CONSTRAINT merges_not_itself_guard CHECK (into_id <> animal_id)
);
CREATE UNIQUE INDEX merges_one_key ON merges (animal_id) WHERE superseded_at IS NULL;
CREATE INDEX merges_site_id_idx ON merges (site_id);
CREATE INDEX merges_into_id_idx ON merges (into_id);
CALL holt_guard_fact('merges', 'Animals that were found to be another one that is on record.', '{
  "animal_id": "The record that was given up; it stays, and resolves to the other.",
  "site_id": "The site that recorded it.",
  "into_id": "The animal that it was found to be.",
  "because": "How it was found."
}');
-- Whoever sees the animal knows by which other names it goes.
CREATE POLICY read_other ON merges FOR SELECT USING (holt_sees(into_id, recorded_at));
