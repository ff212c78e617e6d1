-- Invariant: a version of a reference curve never changes.

CREATE TABLE growth_references (
  id          uuid PRIMARY KEY,
  code        text NOT NULL CONSTRAINT growth_references_code_guard CHECK (code ~ '^[a-z][a-z0-9-]*$'),
  version     integer NOT NULL CONSTRAINT growth_references_version_guard CHECK (version > 0),
  content     jsonb NOT NULL,
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  site_id     uuid REFERENCES sites,
  CONSTRAINT growth_references_own_guard CHECK ((site_id IS NULL) = (code !~ '^[a-z]{3}-')),
  CONSTRAINT growth_references_code_version_key UNIQUE (code, version)
);
CREATE INDEX growth_references_site_id_idx ON growth_references (site_id);
CALL holt_guard('growth_references', 'Versions of reference curves of growth.', '{
  "id": "Identifier (UUIDv7).",
  "code": "Code of the curve.",
  "version": "Version, 1 and up.",
  "content": "Title, species, sex, source, and L, M and S by age.",
  "recorded_at": "When it was loaded.",
  "recorded_by": "Who loaded it.",
  "request_id": "The write that loaded it.",
  "site_id": "The site whose own the curve is; null where all sites share it."
}');
CREATE POLICY read ON growth_references FOR SELECT USING (
  (site_id IS NULL AND (SELECT holt_inside())) OR site_id = ANY ((SELECT holt_sites())::uuid[])
  OR (SELECT holt_everywhere()));
CREATE POLICY record ON growth_references FOR INSERT WITH CHECK (holt_keeps_document(site_id, code));
CREATE TRIGGER next_version AFTER INSERT ON growth_references FOR EACH ROW EXECUTE FUNCTION holt_next_version();
