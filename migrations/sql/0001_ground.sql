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
-- then or held it last, owns it, or has agreed to take it. Runs as owner: it must look at rows that the asker may not.
-- Of what it holds, owns or has agreed to take, it reads the whole life, under whatever record that was entered;
-- so it does while the site that answers for the animal asks it whether a record of its own is of the same one.
-- The cost tells the planner what it is: at the usual 100 it reads whole tables and asks of each row, where an index
-- leads to the few that are meant.
CREATE FUNCTION holt_sees(animal uuid, recorded timestamptz) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER COST 10000 SET search_path = public, pg_temp AS $$
DECLARE
  scope CONSTANT uuid[] := holt_sites();
  records CONSTANT uuid[] := holt_linked_with(animal);
BEGIN
  RETURN EXISTS (
    SELECT FROM holdings h
     WHERE h.animal_id = ANY (records) AND h.superseded_at IS NULL AND h.site_id = ANY (scope)
       -- What a link sets aside opens its own record and no other.
       AND (h.animal_id = animal OR NOT holt_aside_among(h.id, records))
       AND (h.ended_at IS NULL OR (h.animal_id = animal AND recorded < h.ended_at)
            -- Nobody held it afterwards: whoever held it last answers for it still.
            OR NOT EXISTS (SELECT FROM holdings n
                            WHERE n.animal_id = ANY (records) AND n.superseded_at IS NULL
                              AND n.began_at >= h.ended_at))
  ) OR EXISTS (
    SELECT FROM titles t
     WHERE t.animal_id = ANY (records) AND t.superseded_at IS NULL AND t.owner_site_id = ANY (scope)
       AND (t.animal_id = animal OR NOT holt_aside_among(t.id, records))
       AND (t.ended_at IS NULL OR (t.animal_id = animal AND recorded < t.ended_at))
  ) OR EXISTS (
    SELECT FROM transfers m
     WHERE m.animal_id = ANY (records) AND m.to_site_id = ANY (scope) AND m.state IN ('agreed', 'dispatched')
  ) OR holt_is_asked(records);
END
$$;

-- Whether a site in scope has yet to answer the site that answers for an animal of these records: whether it has a
-- record of the same one.
CREATE FUNCTION holt_is_asked(records uuid[]) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  asking CONSTANT uuid[] := ARRAY(
    SELECT a.site_id FROM amendments a
     WHERE a.animal_id = ANY (records) AND a.asked_id = ANY (holt_sites())
       AND NOT EXISTS (SELECT FROM amendment_answers n WHERE n.amendment_id = a.id));
BEGIN
  -- Who answers for it is looked up where somebody asks, and that is hardly ever.
  RETURN cardinality(asking) > 0 AND holt_answers_for(records) = ANY (asking);
END
$$;

-- Whether a site is in scope.
CREATE FUNCTION holt_mine(site uuid) RETURNS boolean LANGUAGE sql STABLE PARALLEL SAFE
  RETURN site = ANY (holt_sites()) OR holt_everywhere();

-- Whether a site in scope has or had to do with the animal: holds or held it, owns or owned it, is about to receive
-- it, or was the first to record it. About other animals it records nothing, under its own name neither.
CREATE FUNCTION holt_part(animal uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  scope CONSTANT uuid[] := holt_sites();
  records CONSTANT uuid[] := holt_linked_with(animal);
BEGIN
  RETURN EXISTS (
    SELECT FROM holdings h
     WHERE h.animal_id = ANY (records) AND h.superseded_at IS NULL AND h.site_id = ANY (scope)
  ) OR EXISTS (
    SELECT FROM animals a WHERE a.id = ANY (records) AND a.site_id = ANY (scope)
  ) OR EXISTS (
    SELECT FROM titles t
     WHERE t.animal_id = ANY (records) AND t.superseded_at IS NULL AND t.owner_site_id = ANY (scope)
  ) OR EXISTS (
    SELECT FROM transfers m
     WHERE m.animal_id = ANY (records) AND m.to_site_id = ANY (scope) AND m.state = 'dispatched'
  ) OR holt_everywhere();
END
$$;

-- The same of all of several animals.
CREATE FUNCTION holt_part_in_all(animals uuid[]) RETURNS boolean LANGUAGE sql STABLE
  RETURN NOT EXISTS (SELECT FROM unnest(animals) animal WHERE NOT holt_part(animal));

-- The site in scope that answers for the animal: its holder, or its last one where nobody holds it; null where that
-- is a site out of scope. So who holds it is told to nobody else.
CREATE FUNCTION holt_answers(animal uuid) RETURNS uuid
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  holder uuid;
BEGIN
  holder := holt_answers_for(holt_linked_with(animal));
  RETURN CASE WHEN holt_everywhere() OR holder = ANY (holt_sites()) THEN holder END;
END
$$;

-- Whether a site in scope ever held or owned the animal: then it may propose changes of its record.
CREATE FUNCTION holt_knew(animal uuid, site uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN (holt_everywhere() OR site = ANY (holt_sites())) AND (
    EXISTS (SELECT FROM holdings h
             WHERE h.animal_id = ANY (holt_linked_with(animal)) AND h.superseded_at IS NULL AND h.site_id = site)
    OR EXISTS (SELECT FROM titles t
                WHERE t.animal_id = ANY (holt_linked_with(animal)) AND t.superseded_at IS NULL
                  AND t.owner_site_id = site));
END
$$;

-- Whether the write under way accepts a change of a fact that a site proposed for the animal: what that site recorded
-- with it is then changed along.
CREATE FUNCTION holt_consented(animal uuid, site uuid, request uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN EXISTS (
    SELECT FROM amendment_answers n JOIN amendments a ON a.id = n.amendment_id
     WHERE n.animal_id = ANY (holt_linked_with(animal)) AND n.request_id = request AND n.proposer_id = site
       AND n.outcome = 'accepted' AND a.kind <> 'merge' AND n.site_id = ANY (holt_sites()));
END
$$;

-- Whether the write under way accepts that of these records, for which a site answers, another one is of the same
-- animal.
CREATE FUNCTION holt_consented_to_link(records uuid[], request uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN EXISTS (
    SELECT FROM amendment_answers n JOIN amendments a ON a.id = n.amendment_id
     WHERE n.animal_id = ANY (records) AND n.request_id = request AND n.outcome = 'accepted' AND a.kind = 'merge'
       AND n.site_id = ANY (holt_sites()) AND n.proposer_id = holt_answers_for(records));
END
$$;

-- Whether a site in scope decides who and what the animal is: it holds it; it held it last, and nobody does now;
-- it has recorded it, and nobody has held it yet; or it is about to receive it.
CREATE FUNCTION holt_decides(animal uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  scope CONSTANT uuid[] := holt_sites();
  records CONSTANT uuid[] := holt_linked_with(animal);
  holder CONSTANT uuid := holt_answers_for(records);
BEGIN
  RETURN holder = ANY (scope) OR EXISTS (
    SELECT FROM animals a WHERE holder IS NULL AND a.id = animal AND a.site_id = ANY (scope)
  ) OR EXISTS (
    SELECT FROM transfers m
     WHERE m.animal_id = ANY (records) AND m.to_site_id = ANY (scope) AND m.state = 'dispatched'
  ) OR holt_everywhere();
END
$$;

-- Whether the animal is on its way from a site to one in scope, which may say what happened on the way: then it
-- records for the sender, who answers for the animal until it is received.
CREATE FUNCTION holt_on_the_way_from(animal uuid, sender uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN EXISTS (
    SELECT FROM transfers m
     WHERE m.animal_id = ANY (holt_linked_with(animal)) AND m.from_site_id = sender AND m.to_site_id = ANY (holt_sites())
       AND m.state = 'dispatched'
  );
END
$$;

-- Whether somebody in scope keeps documents of a site under a code: who acts everywhere the shared ones, which are no
-- site's; a site its own, whose codes begin with its code. So no site takes a code from others, or learns of theirs.
CREATE FUNCTION holt_keeps_document(site uuid, code text) RETURNS boolean
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
BEGIN
  IF site IS NULL THEN
    RETURN holt_everywhere();
  END IF;
  RETURN site = ANY (holt_sites())
     AND EXISTS (SELECT FROM sites s WHERE s.id = site AND lower(s.code) = left(holt_keeps_document.code, 3));
END
$$;

-- Versions of a document follow one another: none is left out, or the next could never be loaded.
CREATE FUNCTION holt_next_version() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  follows boolean;
BEGIN
  EXECUTE format('SELECT EXISTS (SELECT FROM %I WHERE code = $1 AND version = $2)', tg_table_name)
     INTO follows USING NEW.code, NEW.version - 1;
  IF NEW.version > 1 AND NOT follows THEN
    RAISE EXCEPTION 'version % of % does not follow another', NEW.version, NEW.code
      USING ERRCODE = 'check_violation', CONSTRAINT = tg_table_name || '_next_version_guard';
  END IF;
  RETURN NULL;
END
$$;

-- Whether a species has no name yet: whoever adds one names it once, and the curator alone from then on.
CREATE FUNCTION holt_unnamed(taxon uuid) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN NOT EXISTS (SELECT FROM taxon_names n WHERE n.taxon_id = taxon);
END
$$;

-- Whether a new version says no more than that a fact of another site ended, or ended otherwise: it takes the place
-- of one that the same write superseded, which only who may is able to, and says the same of everything else. So a
-- row stays the site's that it is about, whoever records its end.
CREATE FUNCTION holt_ends(tab regclass, new jsonb) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  ends CONSTANT text[] := ARRAY[
    'id', 'recorded_at', 'recorded_by', 'request_id', 'superseded_at', 'superseded_in', 'superseded_why',
    'ended_at', 'ended_on', 'ended_how', 'ended_why', 'ended_source', 'ended_name', 'ended_country', 'transfer_out',
    'until_on'];
  found boolean;
BEGIN
  EXECUTE format('SELECT EXISTS (SELECT FROM %s o WHERE o.animal_id = $1 AND o.superseded_in = $2
                                    AND to_jsonb(o) - $3 = $4)', tab)
     INTO found
    USING (new->>'animal_id')::uuid, (new->>'request_id')::uuid, ends, new - ends;
  RETURN found;
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
  PERFORM pg_advisory_xact_lock(x'32180'::int);
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

-- A table of facts about single animals: versions, and on top, who may read and write. What an animal is and who
-- it is (`of_the_animal`) is its holder's to say; other facts are also the site's that they are about.
CREATE PROCEDURE holt_guard_fact(tab regclass, means text, columns jsonb, of_the_animal boolean DEFAULT false)
LANGUAGE plpgsql AS $$
DECLARE
  everywhere CONSTANT text := '(SELECT holt_everywhere())';
  own CONSTANT text := 'site_id = ANY ((SELECT holt_sites())::uuid[])';
BEGIN
  CALL holt_guard_versions(tab, means, columns || '{ "animal_id": "The animal." }'::jsonb);
  EXECUTE format('CREATE POLICY read ON %s FOR SELECT USING (%s OR %s OR holt_sees(animal_id, recorded_at))',
                 tab, own, everywhere);
  EXECUTE format('CREATE POLICY record ON %1$s FOR INSERT WITH CHECK (%2$s OR (%3$s AND %4$s(animal_id))
                                                                      OR holt_ends(%1$L, to_jsonb(%1$s))
                                                                      OR holt_consented(animal_id, site_id, request_id))',
                 tab, everywhere, own, CASE WHEN of_the_animal THEN 'holt_decides' ELSE 'holt_part' END);
  EXECUTE format('CREATE POLICY supersede ON %s FOR UPDATE USING (%s OR %s OR holt_decides(animal_id))',
                 tab, everywhere, CASE WHEN of_the_animal THEN 'false' ELSE own END);
END
$$;
