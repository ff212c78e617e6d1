-- Invariant: a version of a protocol never changes; an assessment names the version it was made by.

CREATE TABLE protocols (
  id          uuid PRIMARY KEY,
  code        text NOT NULL CONSTRAINT protocols_code_guard CHECK (code ~ '^[a-z][a-z0-9-]*$'),
  version     integer NOT NULL CONSTRAINT protocols_version_guard CHECK (version > 0),
  content     jsonb NOT NULL,
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  site_id     uuid REFERENCES sites,
  CONSTRAINT protocols_own_guard CHECK ((site_id IS NULL) = (code !~ '^[a-z]{3}-')),
  CONSTRAINT protocols_code_version_key UNIQUE (code, version)
);
CREATE INDEX protocols_site_id_idx ON protocols (site_id);
CALL holt_guard('protocols', 'Versions of welfare protocols.', '{
  "id": "Identifier (UUIDv7).",
  "code": "Code of the protocol.",
  "version": "Version, 1 and up.",
  "content": "Title, species and indicators.",
  "recorded_at": "When it was loaded.",
  "recorded_by": "Who loaded it.",
  "request_id": "The write that loaded it.",
  "site_id": "The site whose own the protocol is; null where all sites share it."
}');
CREATE POLICY record ON protocols FOR INSERT WITH CHECK (holt_keeps_document(site_id, code));
CREATE TRIGGER next_version AFTER INSERT ON protocols FOR EACH ROW EXECUTE FUNCTION holt_next_version();

CREATE TABLE assessments (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  protocol_id    uuid NOT NULL REFERENCES protocols,
  assessed_at    timestamptz NOT NULL,
  assessed_on    date NOT NULL,
  findings       jsonb NOT NULL,
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id)
);
CREATE INDEX assessments_site_day_idx ON assessments (site_id, assessed_on);
CREATE INDEX assessments_protocol_id_idx ON assessments (protocol_id);
CALL holt_guard_fact('assessments', 'Welfare assessments of single animals.', '{
  "site_id": "The site where it was made.",
  "protocol_id": "The protocol version.",
  "assessed_at": "When it was made.",
  "assessed_on": "Day it was made, in the zone of the site.",
  "findings": "What was found: indicator, level or number, confidence, evidence.",
  "note": "Remarks."
}');

-- Whoever may read an assessment reads the protocol that it was made by: a site that took the animal on, for one.
CREATE POLICY read ON protocols FOR SELECT USING (
  (site_id IS NULL AND (SELECT holt_inside())) OR site_id = ANY ((SELECT holt_sites())::uuid[])
  OR (SELECT holt_everywhere()) OR EXISTS (SELECT FROM assessments a WHERE a.protocol_id = protocols.id));
