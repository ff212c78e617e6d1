-- Invariant: a version of a standard never changes; an answer names the version that it was given by.

CREATE TABLE standards (
  id          uuid PRIMARY KEY,
  code        text NOT NULL CONSTRAINT standards_code_guard CHECK (code ~ '^[a-z0-9][a-z0-9-]*$'),
  version     integer NOT NULL CONSTRAINT standards_version_guard CHECK (version > 0),
  content     jsonb NOT NULL,
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  site_id     uuid REFERENCES sites,
  CONSTRAINT standards_own_guard CHECK ((site_id IS NULL) = (code !~ '^[a-z]{3}-')),
  CONSTRAINT standards_code_version_key UNIQUE (code, version)
);
CREATE INDEX standards_site_id_idx ON standards (site_id);
CALL holt_guard('standards', 'Versions of standards: the clauses of laws and of published standards.', '{
  "id": "Identifier (UUIDv7).",
  "code": "Code of the standard.",
  "version": "Version, 1 and up.",
  "content": "Title, source and clauses.",
  "recorded_at": "When it was loaded.",
  "recorded_by": "Who loaded it.",
  "request_id": "The write that loaded it.",
  "site_id": "The site whose own the standard is; null where all sites share it."
}');
CREATE POLICY read ON standards FOR SELECT USING (
  (site_id IS NULL AND (SELECT holt_inside())) OR site_id = ANY ((SELECT holt_sites())::uuid[])
  OR (SELECT holt_everywhere()));
CREATE POLICY record ON standards FOR INSERT WITH CHECK (holt_keeps_document(site_id, code));
CREATE TRIGGER next_version AFTER INSERT ON standards FOR EACH ROW EXECUTE FUNCTION holt_next_version();
