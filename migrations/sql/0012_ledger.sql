-- Invariant: a request is answered once; every write leaves one ledger entry that says, row by row, what
-- it wrote.

CREATE TABLE requests (
  person_id   uuid NOT NULL REFERENCES people,
  id          uuid NOT NULL,
  digest      bytea NOT NULL,
  reply       jsonb NOT NULL,
  recorded_at timestamptz NOT NULL,
  CONSTRAINT requests_pkey PRIMARY KEY (person_id, id)
);
CALL holt_guard('requests', 'Requests answered, so that one sent again is answered the same.', '{
  "person_id": "Whose request it was.",
  "id": "Its identifier, made by the client.",
  "digest": "SHA-256 of method and content.",
  "reply": "The answer.",
  "recorded_at": "When it was answered."
}');
CREATE POLICY own ON requests USING (person_id = (SELECT holt_person()));

CREATE TABLE ledger (
  id          uuid PRIMARY KEY,
  site_id     uuid REFERENCES sites,
  person_id   uuid NOT NULL REFERENCES people,
  request_id  uuid NOT NULL,
  method      text NOT NULL,
  recorded_at timestamptz NOT NULL,
  lines       jsonb NOT NULL
);
CREATE INDEX ledger_site_id_idx ON ledger (site_id, recorded_at);
CREATE INDEX ledger_person_id_idx ON ledger (person_id);
CREATE INDEX ledger_request_id_idx ON ledger (request_id);
CALL holt_guard('ledger', 'One entry per write: the append-only record of every change.', '{
  "id": "Identifier (UUIDv7).",
  "site_id": "The site whose records were written; null for people, species and protocols.",
  "person_id": "Who wrote.",
  "request_id": "The write.",
  "method": "What was asked for.",
  "recorded_at": "When.",
  "lines": "What was written: table, row, and SHA-256 of the row''s content; or what was changed of it."
}');
CREATE POLICY read ON ledger FOR SELECT USING (
  site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere())
  OR person_id = (SELECT holt_person()));
CREATE POLICY record ON ledger FOR INSERT WITH CHECK (
  person_id = (SELECT holt_person()) AND (site_id IS NULL OR (SELECT holt_everywhere())
                                          OR site_id = ANY ((SELECT holt_sites())::uuid[])));

-- What an advisory lock can be taken on. Of an identifier, these bits differ most.
CREATE FUNCTION holt_last_bits(id uuid) RETURNS int LANGUAGE sql IMMUTABLE AS $$
  SELECT ('x' || right(id::text, 8))::bit(32)::int
$$;

-- The site whose person made a write. Whoever sees what was written may know it: a row says whom it is about, and
-- not who recorded it. Runs as owner: the entry is the other site's.
CREATE FUNCTION holt_recorder(request uuid, person uuid) RETURNS uuid
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN (SELECT l.site_id FROM ledger l WHERE l.request_id = request AND l.person_id = person);
END
$$;

-- The store's two doors open with this one statement: it sets the scope for row-level security, the time limit and
-- the settings that every transaction needs, and then, under that scope, looks whether tokens of the epoch shown are
-- still valid, and whether the request was answered before. Settings are the transaction's own, and the session is
-- looked at each time: behind a pooler, which drops start-up options, a session is nobody's. A copy of a request that is
-- under way waits for it first, and then finds its answer; should two requests share that lock, one waits in vain and no
-- harm is done. A write shares a second lock until it is over, and is stamped after it has it: whoever has that lock
-- alone knows that whatever is stamped earlier is committed.
CREATE FUNCTION holt_open(sites uuid[], everywhere boolean, gate boolean, person uuid, limit_ms bigint,
                          asker uuid, request uuid, known timestamptz DEFAULT NULL, shown bigint DEFAULT NULL,
                          OUT ended boolean, OUT digest bytea, OUT reply jsonb)
LANGUAGE plpgsql VOLATILE AS $$
BEGIN
  IF pg_has_role(session_user, 'pg_database_owner', 'MEMBER') OR NOT row_security_active('sites') THEN
    RAISE EXCEPTION '% must not serve: row-level security would not hold', session_user USING ERRCODE = 'HT001';
  END IF;
  PERFORM set_config('holt.sites', sites::text, true),
          set_config('holt.everywhere', CASE WHEN everywhere THEN 'yes' ELSE '' END, true),
          set_config('holt.gate', CASE WHEN gate THEN 'yes' ELSE '' END, true),
          set_config('holt.person', person::text, true),
          set_config('holt.keeps', 'yes', true),
          set_config('holt.known_at', coalesce(known::text, ''), true),
          -- What is read of animals is read where records stand for them.
          set_config('search_path', 'standing, public', true),
          set_config('statement_timeout', limit_ms::text, true),
          set_config('idle_in_transaction_session_timeout', '60000', true),
          set_config('client_min_messages', 'error', true),
          set_config('TimeZone', 'UTC', true),
          -- Statements are many and small: planned once per connection, not once per call, which takes longer
          -- than running most of them.
          set_config('plan_cache_mode', 'force_generic_plan', true),
          set_config('jit', 'off', true);
  ended := NOT holt_valid(person, shown);
  IF request IS NOT NULL AND NOT ended THEN
    -- The time limit above is one of the statements to come; this one waits no longer, either.
    PERFORM set_config('lock_timeout', limit_ms::text, true);
    PERFORM pg_advisory_xact_lock(holt_last_bits(asker), holt_last_bits(request));
    PERFORM set_config('lock_timeout', '0', true);
    PERFORM pg_advisory_xact_lock_shared(x'3217E'::int);
    SELECT r.digest, r.reply INTO digest, reply FROM requests r WHERE r.person_id = asker AND r.id = request;
  END IF;
END
$$;

-- Narrows the scope of a write to the sites that it is found to be for.
CREATE FUNCTION holt_narrow(sites uuid[]) RETURNS void LANGUAGE plpgsql VOLATILE AS $$
BEGIN
  PERFORM set_config('holt.sites', sites::text, true), set_config('holt.everywhere', '', true);
END
$$;

-- Returns when every write that was under way is over; those that come meanwhile wait until the caller's
-- transaction ends.
CREATE FUNCTION holt_settle() RETURNS void LANGUAGE sql VOLATILE AS $$
  SELECT pg_advisory_xact_lock(x'3217E'::int);
$$;
