-- Invariant: of each document a site works on each day by one version, which it adopted; what is recorded is recorded
-- by a document that all sites share or that is the site's own.

CREATE TABLE adoptions (
  id             uuid PRIMARY KEY,
  site_id        uuid NOT NULL REFERENCES sites,
  kind           text NOT NULL CONSTRAINT adoptions_kind_guard
                 CHECK (kind IN ('protocol', 'ethogram', 'growth_reference', 'standard')),
  code           text NOT NULL,
  -- Not `version`: by that the ledger tells the order of changes of one row.
  document_version integer NOT NULL,
  adopted_on     date NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text
);
CREATE UNIQUE INDEX adoptions_one_a_day_key ON adoptions (site_id, kind, code, adopted_on)
  WHERE superseded_at IS NULL;
CREATE INDEX adoptions_site_id_idx ON adoptions (site_id, kind, code);
CALL holt_guard_own('adoptions', 'From which day a site works by which version of a document.', '{
  "site_id": "The site.",
  "kind": "protocol, ethogram, growth_reference or standard.",
  "code": "Code of the document.",
  "document_version": "The version by which the site works.",
  "adopted_on": "Day from which it does, until the day of the next one."
}');

-- Whether a site may work by a version of a document: there is one, and it is shared or the site's own.
CREATE FUNCTION holt_works_by(site uuid, kind text, code text, version integer) RETURNS boolean
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
  found boolean;
BEGIN
  EXECUTE format('SELECT EXISTS (SELECT FROM %I d WHERE d.code = $1 AND d.version = $2
                                    AND (d.site_id IS NULL OR d.site_id = $3))', kind || 's')
     INTO found USING code, version, site;
  RETURN found;
END
$$;

CREATE FUNCTION holt_adopts() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NOT holt_works_by(NEW.site_id, NEW.kind, NEW.code, NEW.document_version) THEN
    RAISE EXCEPTION 'there is no version % of the % % for this site', NEW.document_version, NEW.kind, NEW.code
      USING ERRCODE = 'foreign_key_violation', CONSTRAINT = 'adoptions_document_guard';
  END IF;
  RETURN NULL;
END
$$;
CREATE TRIGGER adopts AFTER INSERT ON adoptions FOR EACH ROW EXECUTE FUNCTION holt_adopts();

-- A foreign key looks past row-level security: this refuses another site's own document.
CREATE FUNCTION holt_uses_document() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  usable boolean;
BEGIN
  EXECUTE format('SELECT EXISTS (SELECT FROM %I d WHERE d.id = $1 AND (d.site_id IS NULL OR d.site_id = $2))',
                 tg_argv[0] || 's')
     INTO usable USING (to_jsonb(NEW)->>(tg_argv[0] || '_id'))::uuid, NEW.site_id;
  IF NOT usable THEN
    RAISE EXCEPTION 'this % is another site''s own', tg_argv[0]
      USING ERRCODE = 'foreign_key_violation', CONSTRAINT = tg_table_name || '_document_guard';
  END IF;
  RETURN NULL;
END
$$;
CREATE TRIGGER uses_document AFTER INSERT ON assessments
  FOR EACH ROW EXECUTE FUNCTION holt_uses_document('protocol');
CREATE TRIGGER uses_document AFTER INSERT ON watches
  FOR EACH ROW EXECUTE FUNCTION holt_uses_document('ethogram');
