-- Invariant: a sign-in name is unique; a password is kept only as an argon2id hash, a refresh token only
-- as a SHA-256 hash, and both open only at the gate.

CREATE TABLE people (
  id           uuid PRIMARY KEY,
  name         text NOT NULL CONSTRAINT people_name_guard CHECK (name <> ''),
  sign_in_name text NOT NULL CONSTRAINT people_sign_in_name_key UNIQUE
               CONSTRAINT people_sign_in_name_guard CHECK (sign_in_name ~ '^[a-z0-9._:/-]{2,200}$'),
  recorded_at  timestamptz NOT NULL,
  recorded_by  uuid NOT NULL,
  request_id   uuid NOT NULL
);

CREATE TABLE grants (
  id             uuid PRIMARY KEY,
  person_id      uuid NOT NULL REFERENCES people,
  role           text NOT NULL CONSTRAINT grants_role_guard
                 CHECK (role IN ('keeper', 'registrar', 'auditor', 'veterinary', 'steward', 'curator')),
  site_id        uuid REFERENCES sites,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  -- What all sites share has no site, and neither has its curator.
  CONSTRAINT grants_curator_guard CHECK (role <> 'curator' OR site_id IS NULL)
);
CREATE UNIQUE INDEX grants_in_force_key ON grants
  (person_id, role, coalesce(site_id, '00000000-0000-0000-0000-000000000000'))
  WHERE superseded_at IS NULL;
CREATE INDEX grants_person_id_idx ON grants (person_id);
CREATE INDEX grants_site_id_idx ON grants (site_id);

CALL holt_guard('people', 'People who act in Holt. The row of nil UUID is Holt itself.', '{
  "id": "Identifier (UUIDv7).",
  "name": "Name as people say it.",
  "sign_in_name": "Name to sign in with, lower case; people of an outside issuer, who sign in there, have one of their identifier.",
  "recorded_at": "When they were recorded.",
  "recorded_by": "Who recorded them.",
  "request_id": "The write that recorded them."
}');
CALL holt_guard('grants', 'Which person has which role where. No site: at every site.', '{
  "id": "Identifier (UUIDv7).",
  "person_id": "The person.",
  "role": "keeper, registrar, auditor, veterinary, steward or curator.",
  "site_id": "The site; null for every site.",
  "recorded_at": "When it was given.",
  "recorded_by": "Who gave it.",
  "request_id": "The write that gave it.",
  "superseded_at": "When it was taken away; null while in force.",
  "superseded_in": "The write that took it away.",
  "superseded_why": "Why it was taken away."
}');
CREATE POLICY read ON people FOR SELECT USING (
  (SELECT holt_everywhere()) OR (SELECT holt_gate()) OR id = (SELECT holt_person())
  OR (id = '00000000-0000-0000-0000-000000000000' AND (SELECT holt_inside()))
  OR EXISTS (SELECT FROM grants g WHERE g.person_id = people.id));
-- A person without a grant can do nothing; what matters is who may grant.
CREATE POLICY record ON people FOR INSERT WITH CHECK ((SELECT holt_inside()));

GRANT UPDATE (superseded_at, superseded_in, superseded_why) ON grants TO holt_service;
CREATE TRIGGER supersede_once BEFORE UPDATE ON grants
  FOR EACH ROW EXECUTE FUNCTION holt_supersede_once();
CREATE POLICY read ON grants FOR SELECT USING (
  (SELECT holt_everywhere()) OR (SELECT holt_gate()) OR person_id = (SELECT holt_person())
  OR (site_id IS NULL AND (SELECT holt_inside())) OR site_id = ANY ((SELECT holt_sites())::uuid[]));
CREATE POLICY record ON grants FOR INSERT
  WITH CHECK ((SELECT holt_everywhere()) OR site_id = ANY ((SELECT holt_sites())::uuid[]));
CREATE POLICY supersede ON grants FOR UPDATE
  USING ((SELECT holt_everywhere()) OR site_id = ANY ((SELECT holt_sites())::uuid[]));

CREATE TABLE credentials (
  person_id     uuid PRIMARY KEY REFERENCES people,
  password_hash text NOT NULL,
  one_time      boolean NOT NULL,
  changed_at    timestamptz NOT NULL
);
CALL holt_guard('credentials', 'Passwords, as hashes.', '{
  "person_id": "The person.",
  "password_hash": "argon2id, in PHC string form.",
  "one_time": "Whether it must be changed at the next sign-in.",
  "changed_at": "When it was set."
}');
GRANT UPDATE (password_hash, one_time, changed_at) ON credentials TO holt_service;
CREATE POLICY gate ON credentials USING ((SELECT holt_gate()));

CREATE TABLE refresh_tokens (
  hash       bytea PRIMARY KEY,
  family     uuid NOT NULL,
  person_id  uuid NOT NULL REFERENCES people,
  issued_at  timestamptz NOT NULL,
  expires_at timestamptz NOT NULL,
  spent_at   timestamptz,
  ended_at   timestamptz
);
CREATE INDEX refresh_tokens_family_idx ON refresh_tokens (family);
CREATE INDEX refresh_tokens_person_id_idx ON refresh_tokens (person_id);
CALL holt_guard('refresh_tokens', 'Refresh tokens given out, as hashes.', '{
  "hash": "SHA-256 of the token.",
  "family": "All tokens that descend from one sign-in.",
  "person_id": "The person.",
  "issued_at": "When it was given out.",
  "expires_at": "When it runs out.",
  "spent_at": "When it was exchanged for the next; null while it can be.",
  "ended_at": "When its family was ended; null while it stands."
}');
GRANT UPDATE (spent_at, ended_at) ON refresh_tokens TO holt_service;
CREATE POLICY gate ON refresh_tokens USING ((SELECT holt_gate()));

-- Each token names the epoch of its person. Raising it ends them all, on every server: the doors compare.
CREATE TABLE epochs (
  person_id uuid PRIMARY KEY REFERENCES people,
  epoch     bigint NOT NULL
);
CALL holt_guard('epochs', 'How often the sign-ins of a person were ended; no row: never.', '{
  "person_id": "The person.",
  "epoch": "Counted up when a role is taken, a password changes, or all sign-ins are ended. A token of another epoch is not accepted."
}');
GRANT UPDATE (epoch) ON epochs TO holt_service;
CREATE POLICY own ON epochs FOR SELECT USING (person_id = (SELECT holt_person()));
CREATE POLICY gate ON epochs USING ((SELECT holt_gate()));

CREATE FUNCTION holt_epoch(person uuid) RETURNS bigint LANGUAGE sql STABLE PARALLEL SAFE
  RETURN coalesce((SELECT e.epoch FROM epochs e WHERE e.person_id = person), 0);

-- Whether a token that shows this epoch of a person still holds; Holt itself shows none.
CREATE FUNCTION holt_valid(person uuid, shown bigint) RETURNS boolean LANGUAGE sql STABLE PARALLEL SAFE
  RETURN shown IS NULL OR holt_epoch(person) = shown;

-- Whatever takes a role or sets another password, and whoever does it past the code.
CREATE FUNCTION holt_end_tokens() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  INSERT INTO epochs AS e VALUES (OLD.person_id, 1) ON CONFLICT (person_id) DO UPDATE SET epoch = e.epoch + 1;
  RETURN NULL;
END
$$;
CREATE TRIGGER end_tokens AFTER UPDATE ON grants FOR EACH ROW
  WHEN (OLD.superseded_at IS NULL AND NEW.superseded_at IS NOT NULL) EXECUTE FUNCTION holt_end_tokens();
CREATE TRIGGER end_tokens AFTER UPDATE ON credentials FOR EACH ROW
  WHEN (OLD.password_hash <> NEW.password_hash) EXECUTE FUNCTION holt_end_tokens();

-- Lets one write change people at a time.
CREATE FUNCTION holt_keep_people() RETURNS void LANGUAGE sql VOLATILE AS $$
  SELECT pg_advisory_xact_lock(x'3217F'::int);
$$;

INSERT INTO people (id, name, sign_in_name, recorded_at, recorded_by, request_id) VALUES
  ('00000000-0000-0000-0000-000000000000', 'Holt', 'holt:itself', '2000-01-01Z',
   '00000000-0000-0000-0000-000000000000', '00000000-0000-0000-0000-000000000000');
ALTER TABLE people ADD FOREIGN KEY (recorded_by) REFERENCES people;
CREATE INDEX people_recorded_by_idx ON people (recorded_by);
