-- Invariant: what was said of a species is never changed; what was said last stands.

CREATE TABLE taxon_traits (
  id             uuid PRIMARY KEY,
  taxon_id       uuid NOT NULL REFERENCES taxa,
  gestation_days integer CONSTRAINT taxon_traits_gestation_guard CHECK (gestation_days BETWEEN 1 AND 3660),
  seasonal       boolean NOT NULL,
  rest_kcal      double precision CONSTRAINT taxon_traits_rest_guard CHECK (rest_kcal > 0 AND rest_kcal <= 500),
  need_low       double precision,
  need_high      double precision,
  source         text NOT NULL CONSTRAINT taxon_traits_source_guard CHECK (source <> ''),
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  CONSTRAINT taxon_traits_need_guard CHECK (
    num_nonnulls(rest_kcal, need_low, need_high) IN (0, 3) AND need_low > 0 AND need_low <= need_high)
);
CREATE INDEX taxon_traits_taxon_id_idx ON taxon_traits (taxon_id, recorded_at);
CALL holt_guard('taxon_traits', 'What is usual in a species, as somebody said.', '{
  "id": "Identifier (UUIDv7).",
  "taxon_id": "The species.",
  "gestation_days": "Usual days during which the young grow in the dam, until birth; null where not stated.",
  "seasonal": "Whether its animals gain and lose with the seasons.",
  "rest_kcal": "Energy at rest in kcal a day of a body of 1 kg; null where not stated.",
  "need_low": "Lowest multiple of that which is usual in keeping; null where not stated.",
  "need_high": "Highest multiple; null where not stated.",
  "source": "Where that is from.",
  "recorded_at": "When it was said.",
  "recorded_by": "Who said it.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY read ON taxon_traits FOR SELECT USING ((SELECT holt_inside()));
CREATE POLICY record ON taxon_traits FOR INSERT WITH CHECK ((SELECT holt_everywhere()));
