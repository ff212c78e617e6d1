-- Invariant: a version of an ethogram never changes; a watch names the version it was made by.

CREATE TABLE ethograms (
  id          uuid PRIMARY KEY,
  code        text NOT NULL CONSTRAINT ethograms_code_guard CHECK (code ~ '^[a-z0-9][a-z0-9-]*$'),
  version     integer NOT NULL CONSTRAINT ethograms_version_guard CHECK (version > 0),
  content     jsonb NOT NULL,
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  site_id     uuid REFERENCES sites,
  CONSTRAINT ethograms_own_guard CHECK ((site_id IS NULL) = (code !~ '^[a-z]{3}-')),
  CONSTRAINT ethograms_code_version_key UNIQUE (code, version)
);
CREATE INDEX ethograms_site_id_idx ON ethograms (site_id);
CALL holt_guard('ethograms', 'Versions of ethograms: the behaviours that a species is watched for.', '{
  "id": "Identifier (UUIDv7).",
  "code": "Code of the ethogram.",
  "version": "Version, 1 and up.",
  "content": "Title, species and behaviours.",
  "recorded_at": "When it was loaded.",
  "recorded_by": "Who loaded it.",
  "request_id": "The write that loaded it.",
  "site_id": "The site whose own the ethogram is; null where all sites share it."
}');
CREATE POLICY read ON ethograms FOR SELECT USING (
  (site_id IS NULL AND (SELECT holt_inside())) OR site_id = ANY ((SELECT holt_sites())::uuid[])
  OR (SELECT holt_everywhere()));
CREATE POLICY record ON ethograms FOR INSERT WITH CHECK (holt_keeps_document(site_id, code));
CREATE TRIGGER next_version AFTER INSERT ON ethograms FOR EACH ROW EXECUTE FUNCTION holt_next_version();
