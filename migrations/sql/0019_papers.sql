-- Invariant: a paper of an animal goes with one arrival, departure or transfer at one site.

CREATE TABLE papers (
  id                uuid NOT NULL,
  animal_id         uuid NOT NULL REFERENCES animals,
  site_id           uuid NOT NULL REFERENCES sites,
  occasion          text NOT NULL CONSTRAINT papers_occasion_guard
                    CHECK (occasion IN ('arrival', 'departure', 'transfer')),
  transfer_id       uuid,
  kind              text NOT NULL CONSTRAINT papers_kind_guard
                    CHECK (kind IN ('cites_export_permit', 'cites_import_permit', 'cites_re_export_certificate',
                                    'cites_other_certificate', 'health_certificate', 'movement_licence',
                                    'receipt', 'other')),
  number            text NOT NULL,
  issued_by_country text NOT NULL CONSTRAINT papers_country_guard CHECK (issued_by_country ~ '^([A-Z]{2})?$'),
  issued_by         text NOT NULL,
  issued_on         date,
  valid_until       date,
  cites_appendix    text NOT NULL CONSTRAINT papers_cites_appendix_guard
                    CHECK (cites_appendix IN ('', 'none', 'I', 'II', 'III')),
  source_codes      text NOT NULL,
  purpose_code      text NOT NULL,
  note              text NOT NULL,
  recorded_at       timestamptz NOT NULL,
  recorded_by       uuid NOT NULL,
  request_id        uuid NOT NULL,
  superseded_at     timestamptz,
  superseded_in     uuid,
  superseded_why    text,
  PRIMARY KEY (animal_id, id),
  FOREIGN KEY (transfer_id, animal_id) REFERENCES transfers (id, animal_id),
  CONSTRAINT papers_transfer_guard CHECK ((occasion = 'transfer') = (transfer_id IS NOT NULL)),
  CONSTRAINT papers_days_guard CHECK (issued_on <= valid_until),
  CONSTRAINT papers_cites_guard CHECK (kind LIKE 'cites\_%'
                                       OR (cites_appendix = '' AND source_codes = '' AND purpose_code = ''))
);
CREATE UNIQUE INDEX papers_once_key ON papers (animal_id, site_id, occasion, kind, number, issued_by_country)
  WHERE superseded_at IS NULL AND number <> '';
CREATE INDEX papers_site_id_idx ON papers (site_id);
CREATE INDEX papers_transfer_id_idx ON papers (transfer_id, animal_id);
CALL holt_guard_fact('papers', 'Papers that go with an animal that comes, goes or moves.', '{
  "site_id": "The site that recorded it.",
  "occasion": "arrival, departure or transfer.",
  "transfer_id": "The transfer, where it goes with one.",
  "kind": "cites_export_permit, cites_import_permit, cites_re_export_certificate, cites_other_certificate, health_certificate, movement_licence, receipt or other.",
  "number": "Its number.",
  "issued_by_country": "Country that issued it: two letters of ISO 3166-1; empty where not told.",
  "issued_by": "Authority that issued it.",
  "issued_on": "Day of issue.",
  "valid_until": "Last day on which it is valid.",
  "cites_appendix": "Appendix of CITES at issue: I, II, III, none, or empty where not told.",
  "source_codes": "Source codes of CITES, with a space between.",
  "purpose_code": "Purpose code of CITES.",
  "note": "What else to know."
}');
