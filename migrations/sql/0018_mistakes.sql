-- Invariant: a record that was entered by mistake is of an animal that never was. Nothing of it stands, at no site is
-- anything recorded of it, and what it says is there to be seen.

CREATE TABLE mistakes (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  because        text NOT NULL CONSTRAINT mistakes_because_guard CHECK (because <> ''),
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id)
);
CREATE UNIQUE INDEX mistakes_once_key ON mistakes (animal_id) WHERE superseded_at IS NULL;
CREATE INDEX mistakes_site_id_idx ON mistakes (site_id);
CALL holt_guard_fact('mistakes', 'Records that were entered by mistake.', '{
  "site_id": "The site that had entered it.",
  "because": "Why it was a mistake."
}', true);

-- Whether a record was entered by mistake, as the asker sees it and as known then.
CREATE FUNCTION holt_mistaken(record uuid) RETURNS boolean LANGUAGE plpgsql STABLE COST 1000 AS $$
DECLARE
  known CONSTANT timestamptz := public.holt_known_at();
BEGIN
  RETURN EXISTS (SELECT FROM public.mistakes m
                  WHERE m.animal_id = record AND m.recorded_at <= known
                    AND (m.superseded_at IS NULL OR m.superseded_at > known));
END
$$;

-- Whether it is, whoever asks.
CREATE FUNCTION holt_never_was(record uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN EXISTS (SELECT FROM mistakes m WHERE m.animal_id = record AND m.superseded_at IS NULL);
END
$$;

CREATE FUNCTION holt_doubt() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  UPDATE identities SET doubted = true WHERE record_id = NEW.animal_id AND NOT doubted;
  RETURN NULL;
END
$$;
CREATE TRIGGER doubt AFTER INSERT ON mistakes FOR EACH ROW EXECUTE FUNCTION holt_doubt();
