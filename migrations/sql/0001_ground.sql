-- Invariant: the service acts as a role that owns nothing, sees only what the scope of its transaction
-- opens, and cannot delete.

CREATE EXTENSION IF NOT EXISTS btree_gist;

-- Roles belong to the whole cluster, so another database of it may have made this one already, perhaps
-- at this very moment.
DO $$
BEGIN
  IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'holt_service') THEN
    CREATE ROLE holt_service NOLOGIN NOINHERIT;
  END IF;
EXCEPTION WHEN duplicate_object OR unique_violation THEN NULL;
END
$$;

REVOKE ALL ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO holt_service;

-- The scope of a transaction: set by the store's two doors, empty otherwise, so that a statement outside
-- them sees nothing.

CREATE FUNCTION holt_sites() RETURNS uuid[] LANGUAGE sql STABLE PARALLEL SAFE
  RETURN coalesce(nullif(current_setting('holt.sites', true), ''), '{}')::uuid[];

CREATE FUNCTION holt_everywhere() RETURNS boolean LANGUAGE sql STABLE PARALLEL SAFE
  RETURN coalesce(current_setting('holt.everywhere', true), '') = 'yes';

CREATE FUNCTION holt_person() RETURNS uuid LANGUAGE sql STABLE PARALLEL SAFE
  RETURN nullif(current_setting('holt.person', true), '')::uuid;

-- Whether a door is open at all: what everybody who is signed in may see is closed outside the doors, too.
CREATE FUNCTION holt_inside() RETURNS boolean LANGUAGE sql STABLE PARALLEL SAFE
  RETURN coalesce(current_setting('holt.person', true), '') <> '';

-- Row-level security holds for the owner of the database, too. What looks past it as owner (functions that are
-- SECURITY DEFINER, migrations) finds rows by the policy `keep`, which is the owner's alone and is open where
-- this is set: the doors set it, for what they call.
CREATE FUNCTION holt_keeps() RETURNS boolean LANGUAGE sql STABLE PARALLEL SAFE
  RETURN coalesce(current_setting('holt.keeps', true), '') = 'yes';

-- Refuses a session for which row-level security does not hold, or that can become one: whoever serves is a member
-- of holt_service and of nothing else, so that SET ROLE and RESET ROLE lead nowhere.
CREATE FUNCTION holt_weak() RETURNS void LANGUAGE plpgsql STABLE AS $$
BEGIN
  IF EXISTS (
       SELECT FROM pg_roles r
        WHERE (r.rolname = session_user
               AND (r.rolsuper OR r.rolbypassrls OR r.rolcreaterole OR r.rolreplication))
           OR (r.rolname NOT IN (session_user, 'holt_service') AND pg_has_role(session_user, r.oid, 'MEMBER')))
     OR EXISTS (
       SELECT FROM pg_shdepend d JOIN pg_roles r ON r.oid = d.refobjid
        WHERE d.refclassid = 'pg_authid'::regclass AND d.deptype = 'o' AND r.rolname = session_user)
     OR NOT row_security_active('sites')
  THEN
    RAISE EXCEPTION USING MESSAGE = session_user, ERRCODE = 'HT001';
  END IF;
END
$$;

-- Open while somebody signs in, before there is a caller; opens credentials and nothing of the records.
CREATE FUNCTION holt_gate() RETURNS boolean LANGUAGE sql STABLE PARALLEL SAFE
  RETURN coalesce(current_setting('holt.gate', true), '') = 'yes';

-- Whether a site in scope may read what was recorded of an animal at an instant: it holds it, held it
-- then, owns it, or has agreed to take it. Runs as owner: it must look at rows that the asker may not.
-- Of what it holds, owns or has agreed to take, it reads the whole life, under whatever record that was entered.
CREATE FUNCTION holt_sees(animal uuid, recorded timestamptz) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  scope CONSTANT uuid[] := holt_sites();
  records CONSTANT uuid[] := holt_linked_with(animal);
BEGIN
  RETURN EXISTS (
    SELECT FROM holdings h
     WHERE h.animal_id = ANY (records) AND h.superseded_at IS NULL AND h.site_id = ANY (scope)
       AND (h.ended_at IS NULL OR (h.animal_id = animal AND recorded < h.ended_at))
  ) OR EXISTS (
    SELECT FROM titles t
     WHERE t.animal_id = ANY (records) AND t.superseded_at IS NULL AND t.owner_site_id = ANY (scope)
       AND (t.ended_at IS NULL OR (t.animal_id = animal AND recorded < t.ended_at))
  ) OR EXISTS (
    SELECT FROM transfers m
     WHERE m.animal_id = ANY (records) AND m.to_site_id = ANY (scope) AND m.state IN ('agreed', 'dispatched')
  );
END
$$;

-- Whether a site in scope holds the animal now.
CREATE FUNCTION holt_holds(animal uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN EXISTS (
    SELECT FROM holdings h
     WHERE h.animal_id = ANY (holt_linked_with(animal)) AND h.superseded_at IS NULL AND h.ended_at IS NULL
       AND h.site_id = ANY (holt_sites())
  );
END
$$;

-- Whether the animal is on its way to or from a site in scope, so that one side may close what the other
-- side opened: the holding passes in one transaction of the receiver.
CREATE FUNCTION holt_hands_over(animal uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN EXISTS (
    SELECT FROM transfers m
     WHERE m.animal_id = ANY (holt_linked_with(animal)) AND m.state = 'dispatched'
       AND (m.to_site_id = ANY (holt_sites()) OR m.from_site_id = ANY (holt_sites()))
  );
END
$$;

-- History is never deleted, not even by the owner, short of dropping the trigger first.
CREATE FUNCTION holt_forbid_delete() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION 'history is never deleted: supersede the row of % instead', tg_table_name
    USING ERRCODE = 'insufficient_privilege';
END
$$;

-- A row is superseded once and stays so.
CREATE FUNCTION holt_supersede_once() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF OLD.superseded_at IS NOT NULL THEN
    RAISE EXCEPTION 'row % of % is superseded already', OLD.id, tg_table_name
      USING ERRCODE = 'serialization_failure';
  END IF;
  RETURN NEW;
END
$$;

-- What every table of Holt gets in the end, whichever migration made it: its policies are for the service, and
-- the owner is held by row-level security, too. Called after every run of the migrations; does nothing where
-- nothing is missing.
CREATE PROCEDURE holt_bolt() LANGUAGE plpgsql AS $$
DECLARE
  loose record;
BEGIN
  PERFORM pg_advisory_xact_lock(x'3217F'::int);
  FOR loose IN
    SELECT c.oid::regclass AS tab FROM pg_class c
     WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND c.relrowsecurity
       AND NOT c.relforcerowsecurity
  LOOP
    EXECUTE format('ALTER TABLE %s FORCE ROW LEVEL SECURITY', loose.tab);
    EXECUTE format('CREATE POLICY keep ON %s TO pg_database_owner USING (holt_keeps())', loose.tab);
  END LOOP;
  FOR loose IN
    SELECT p.polrelid::regclass AS tab, p.polname AS policy FROM pg_policy p JOIN pg_class c ON c.oid = p.polrelid
     WHERE c.relnamespace = 'public'::regnamespace AND p.polroles = ARRAY[0::oid]
  LOOP
    EXECUTE format('ALTER POLICY %I ON %s TO holt_service', loose.policy, loose.tab);
  END LOOP;
END
$$;

REVOKE EXECUTE ON PROCEDURE holt_bolt() FROM PUBLIC;

-- What every table of Holt gets: row-level security, no delete, comments.
CREATE PROCEDURE holt_guard(tab regclass, means text, columns jsonb) LANGUAGE plpgsql AS $$
DECLARE
  col record;
BEGIN
  EXECUTE format('ALTER TABLE %s ENABLE ROW LEVEL SECURITY', tab);
  EXECUTE format('CREATE TRIGGER forbid_delete BEFORE DELETE OR TRUNCATE ON %s
                  FOR EACH STATEMENT EXECUTE FUNCTION holt_forbid_delete()', tab);
  EXECUTE format('GRANT SELECT, INSERT ON %s TO holt_service', tab);
  EXECUTE format('COMMENT ON TABLE %s IS %L', tab, means);
  FOR col IN SELECT * FROM jsonb_each_text(columns) LOOP
    EXECUTE format('COMMENT ON COLUMN %s.%I IS %L', tab, col.key, col.value);
  END LOOP;
END
$$;

-- A table whose rows are versions: on top, what all versions have in common, and how one is superseded.
CREATE PROCEDURE holt_guard_versions(tab regclass, means text, columns jsonb) LANGUAGE plpgsql AS $$
BEGIN
  CALL holt_guard(tab, means, columns || '{
    "id": "Identifier of this version of the fact (UUIDv7).",
    "recorded_at": "When this version was recorded.",
    "recorded_by": "Who recorded it.",
    "request_id": "The write that recorded it.",
    "superseded_at": "When another version took its place or it was withdrawn; null while it stands.",
    "superseded_in": "The write that superseded it.",
    "superseded_why": "Why it was superseded."
  }'::jsonb);
  EXECUTE format('GRANT UPDATE (superseded_at, superseded_in, superseded_why) ON %s TO holt_service', tab);
  EXECUTE format('CREATE TRIGGER supersede_once BEFORE UPDATE ON %s
                  FOR EACH ROW EXECUTE FUNCTION holt_supersede_once()', tab);
END
$$;

-- A table of versions that are a site's own: only those of the site read and write them.
CREATE PROCEDURE holt_guard_own(tab regclass, means text, columns jsonb) LANGUAGE plpgsql AS $$
BEGIN
  CALL holt_guard_versions(tab, means, columns);
  EXECUTE format('CREATE POLICY own ON %s
                  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()))', tab);
END
$$;

-- A table of facts about single animals: versions, and on top, who may read and write.
-- `handed` facts may be closed by either side of a dispatched transfer.
CREATE PROCEDURE holt_guard_fact(tab regclass, means text, columns jsonb, handed boolean DEFAULT false)
LANGUAGE plpgsql AS $$
DECLARE
  own CONSTANT text := 'site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere())';
  extra text := '';
BEGIN
  CALL holt_guard_versions(tab, means, columns || '{ "animal_id": "The animal." }'::jsonb);
  IF handed THEN
    extra := ' OR holt_hands_over(animal_id)';
  END IF;
  EXECUTE format('CREATE POLICY read ON %s FOR SELECT USING (%s OR holt_sees(animal_id, recorded_at))',
                 tab, own);
  EXECUTE format('CREATE POLICY record ON %s FOR INSERT WITH CHECK (%s%s)', tab, own, extra);
  EXECUTE format('CREATE POLICY supersede ON %s FOR UPDATE USING (%s OR holt_holds(animal_id)%s)',
                 tab, own, extra);
END
$$;
