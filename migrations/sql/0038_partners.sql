-- Invariant: a site shows cards of its animals only while its standing terms say so; every search that compared
-- any is on record for both sides.

CREATE TABLE partner_terms (
  id             uuid PRIMARY KEY,
  site_id        uuid NOT NULL REFERENCES sites,
  shows_cards    boolean NOT NULL,
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text
);
CREATE UNIQUE INDEX partner_terms_one_key ON partner_terms (site_id) WHERE superseded_at IS NULL;
CREATE INDEX partner_terms_site_id_idx ON partner_terms (site_id);
CALL holt_guard_own('partner_terms', 'What a site shows to others that search partners for their animals.', '{
  "site_id": "The site.",
  "shows_cards": "Whether it shows cards of its animals.",
  "note": "What it seeks and offers, in its own words."
}');
-- What a site says to all of them is there for all of them, as long as it says so.
CREATE POLICY read_shown ON partner_terms FOR SELECT
  USING ((SELECT holt_inside()) AND shows_cards AND superseded_at IS NULL);

CREATE TABLE partner_searches (
  id             uuid PRIMARY KEY,
  site_id        uuid NOT NULL REFERENCES sites,
  taxon_id       uuid NOT NULL REFERENCES taxa,
  shown          uuid[] NOT NULL,
  cards          integer NOT NULL CONSTRAINT partner_searches_cards_guard CHECK (cards >= 0),
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL
);
CREATE INDEX partner_searches_site_id_idx ON partner_searches (site_id, recorded_at);
CREATE INDEX partner_searches_taxon_id_idx ON partner_searches (taxon_id);
CREATE INDEX partner_searches_shown_idx ON partner_searches USING gin (shown);
CALL holt_guard('partner_searches', 'Searches for partners, and whose animals they compared.', '{
  "id": "Identifier (UUIDv7).",
  "site_id": "The site that searched.",
  "taxon_id": "The species.",
  "shown": "The other sites whose animals were compared.",
  "cards": "How many cards were told.",
  "recorded_at": "When.",
  "recorded_by": "Who searched.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY own ON partner_searches
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
-- Whose animals were compared sees who looked.
CREATE POLICY read_shown ON partner_searches FOR SELECT USING (shown && (SELECT holt_sites())::uuid[]);
