-- Invariant: an animal is on one open transfer at most; each step is recorded once, in order.

-- Who holds an animal now.
CREATE FUNCTION holt_holder(animal uuid) RETURNS uuid
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  RETURN (SELECT h.site_id FROM holdings h
           WHERE h.animal_id = animal AND h.superseded_at IS NULL AND h.ended_at IS NULL);
END
$$;

CREATE TABLE transfers (
  id            uuid PRIMARY KEY,
  animal_id     uuid NOT NULL REFERENCES animals,
  from_site_id  uuid NOT NULL REFERENCES sites,
  to_site_id    uuid NOT NULL REFERENCES sites,
  taxon_id      uuid NOT NULL REFERENCES taxa,
  from_number   text NOT NULL,
  house_name    text NOT NULL,
  sex           text NOT NULL,
  born_first    date,
  born_last     date,
  terms         text NOT NULL CONSTRAINT transfers_terms_guard CHECK (terms IN ('title_passes', 'loan')),
  loan_until    date,
  planned_on    date,
  why           text NOT NULL,
  state         text NOT NULL CONSTRAINT transfers_state_guard CHECK (state IN
                ('proposed', 'agreed', 'dispatched', 'received', 'refused', 'cancelled', 'died', 'escaped')),
  withheld_by   uuid REFERENCES sites,
  version       bigint NOT NULL,
  recorded_at   timestamptz NOT NULL,
  recorded_by   uuid NOT NULL,
  request_id    uuid NOT NULL,
  -- For the foreign keys that keep what goes with a transfer with its animal.
  CONSTRAINT transfers_id_animal_id_key UNIQUE (id, animal_id),
  CONSTRAINT transfers_two_sites_guard CHECK (from_site_id <> to_site_id),
  CONSTRAINT transfers_loan_guard CHECK (loan_until IS NULL OR terms = 'loan')
);
CREATE UNIQUE INDEX transfers_one_open_key ON transfers (animal_id)
  WHERE state IN ('proposed', 'agreed', 'dispatched');
CREATE INDEX transfers_animal_id_idx ON transfers (animal_id);
CREATE INDEX transfers_taxon_id_idx ON transfers (taxon_id);
CREATE INDEX transfers_from_site_id_idx ON transfers (from_site_id);
CREATE INDEX transfers_to_site_id_idx ON transfers (to_site_id);
CREATE INDEX transfers_withheld_by_idx ON transfers (withheld_by);
CALL holt_guard('transfers', 'Moves of animals between two sites: one record that both share.', '{
  "id": "Identifier (UUIDv7).",
  "animal_id": "The animal.",
  "from_site_id": "The sender.",
  "to_site_id": "The destination.",
  "taxon_id": "What is offered: the species, as both sites see it before the destination agrees.",
  "from_number": "What is offered: its accession at the sender.",
  "house_name": "What is offered: its house name.",
  "sex": "What is offered: its sex when it was proposed.",
  "born_first": "What is offered: first day that it can have been born.",
  "born_last": "What is offered: last day that it can have been born.",
  "terms": "title_passes or loan.",
  "loan_until": "Last day of a loan.",
  "planned_on": "Day on which the move is planned, in the zone of the sender.",
  "why": "Why the animal moves.",
  "state": "Where it stands; its steps say how it got there.",
  "withheld_by": "The site whose veterinary surgeon withholds it; null where none does.",
  "version": "Grows by one with each step.",
  "recorded_at": "When it was proposed.",
  "recorded_by": "Who proposed it.",
  "request_id": "The write that proposed it."
}');
GRANT UPDATE (state, withheld_by, version) ON transfers TO holt_service;
CREATE POLICY read ON transfers FOR SELECT USING (
  from_site_id = ANY ((SELECT holt_sites())::uuid[]) OR to_site_id = ANY ((SELECT holt_sites())::uuid[])
  OR (SELECT holt_everywhere()));
-- A move begins as a proposal of the site that holds the animal.
CREATE POLICY propose ON transfers FOR INSERT WITH CHECK (
  state = 'proposed' AND version = 1 AND withheld_by IS NULL
  AND ((SELECT holt_everywhere()) OR from_site_id = ANY ((SELECT holt_sites())::uuid[]))
  AND holt_holder(animal_id) = from_site_id);
CREATE POLICY step ON transfers FOR UPDATE USING (
  from_site_id = ANY ((SELECT holt_sites())::uuid[]) OR to_site_id = ANY ((SELECT holt_sites())::uuid[])
  OR (SELECT holt_everywhere()));

-- Each step is taken from a state that allows it, and by the site whose step it is: what a transfer opens to the
-- other site (`holt_sees`, `holt_part`, `holt_decides`) rests on it.
CREATE FUNCTION holt_step_is_legal() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  sender CONSTANT boolean := holt_mine(OLD.from_site_id);
  destination CONSTANT boolean := holt_mine(OLD.to_site_id);
  legal boolean;
BEGIN
  legal := NEW.version = OLD.version + 1 AND CASE
    WHEN NEW.state = OLD.state THEN
      OLD.state IN ('proposed', 'agreed')
      AND ((OLD.withheld_by IS NULL AND NEW.withheld_by IN (OLD.from_site_id, OLD.to_site_id)
            AND holt_mine(NEW.withheld_by))
        OR (NEW.withheld_by IS NULL AND holt_mine(OLD.withheld_by)))
    WHEN NEW.withheld_by IS DISTINCT FROM OLD.withheld_by THEN false
    WHEN NEW.state = 'agreed' THEN OLD.state = 'proposed' AND destination
    WHEN NEW.state = 'refused' THEN OLD.state IN ('proposed', 'agreed') AND destination
    WHEN NEW.state = 'cancelled' THEN OLD.state IN ('proposed', 'agreed', 'dispatched') AND sender
    WHEN NEW.state = 'dispatched' THEN OLD.state = 'agreed' AND OLD.withheld_by IS NULL AND sender
    WHEN NEW.state = 'received' THEN OLD.state = 'dispatched' AND destination
    WHEN NEW.state IN ('died', 'escaped') THEN OLD.state = 'dispatched' AND (sender OR destination)
    ELSE false
  END;
  IF legal IS NOT TRUE THEN
    RAISE EXCEPTION 'transfer % does not go from % to % here', OLD.id, OLD.state, NEW.state
      USING ERRCODE = 'insufficient_privilege';
  END IF;
  RETURN NEW;
END
$$;
CREATE TRIGGER step_is_legal BEFORE UPDATE ON transfers FOR EACH ROW EXECUTE FUNCTION holt_step_is_legal();

CREATE TABLE transfer_steps (
  transfer_id  uuid NOT NULL REFERENCES transfers,
  seq          integer NOT NULL,
  step         text NOT NULL CONSTRAINT transfer_steps_step_guard CHECK (step IN
               ('proposed', 'agreed', 'dispatched', 'received', 'refused', 'cancelled', 'died', 'escaped',
                'withheld', 'released')),
  state        text NOT NULL,
  site_id      uuid NOT NULL REFERENCES sites,
  happened_at  timestamptz NOT NULL,
  day_only     boolean NOT NULL,
  note         text NOT NULL,
  to_number    text NOT NULL,
  recorded_at  timestamptz NOT NULL,
  recorded_by  uuid NOT NULL,
  request_id   uuid NOT NULL,
  CONSTRAINT transfer_steps_pkey PRIMARY KEY (transfer_id, seq),
  CONSTRAINT transfer_steps_past_guard CHECK (happened_at <= recorded_at)
);
CREATE INDEX transfer_steps_site_id_idx ON transfer_steps (site_id, happened_at);
CALL holt_guard('transfer_steps', 'Steps of transfers, never changed.', '{
  "transfer_id": "The transfer.",
  "seq": "1 and up.",
  "step": "What was done.",
  "state": "Where the transfer stood after it.",
  "site_id": "The site whose person did it.",
  "happened_at": "When it happened.",
  "day_only": "Whether only the day is known.",
  "note": "Reason or remark.",
  "to_number": "For a receipt, the accession that the destination gave.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY read ON transfer_steps FOR SELECT
  USING (EXISTS (SELECT FROM transfers t WHERE t.id = transfer_id));
-- Written with what it leads to, by one of the two sites.
CREATE POLICY record ON transfer_steps FOR INSERT WITH CHECK (
  (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()))
  AND EXISTS (SELECT FROM transfers t
               WHERE t.id = transfer_id AND t.version = seq AND t.state = transfer_steps.state
                 AND site_id IN (t.from_site_id, t.to_site_id)));
-- Nothing happened before the step that it follows.
CREATE FUNCTION holt_step_follows() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF EXISTS (SELECT FROM transfer_steps s
              WHERE s.transfer_id = NEW.transfer_id AND s.happened_at > NEW.happened_at) THEN
    RAISE EXCEPTION 'step % of transfer % happened before the one that it follows', NEW.seq, NEW.transfer_id
      USING ERRCODE = 'check_violation', CONSTRAINT = 'transfer_steps_order_guard', TABLE = 'transfer_steps';
  END IF;
  RETURN NEW;
END
$$;
CREATE TRIGGER step_follows BEFORE INSERT ON transfer_steps FOR EACH ROW EXECUTE FUNCTION holt_step_follows();
-- And what it leads to, with it.
CREATE FUNCTION holt_has_its_step() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NOT EXISTS (SELECT FROM transfer_steps s
                  WHERE s.transfer_id = NEW.id AND s.seq = NEW.version AND s.state = NEW.state) THEN
    RAISE EXCEPTION 'transfer % stands where no step led', NEW.id
      USING ERRCODE = 'check_violation', CONSTRAINT = 'transfers_step_guard', TABLE = 'transfers';
  END IF;
  RETURN NULL;
END
$$;
CREATE CONSTRAINT TRIGGER has_its_step AFTER INSERT OR UPDATE ON transfers
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION holt_has_its_step();

ALTER TABLE holdings ADD FOREIGN KEY (transfer_in, animal_id) REFERENCES transfers (id, animal_id);
ALTER TABLE holdings ADD FOREIGN KEY (transfer_out, animal_id) REFERENCES transfers (id, animal_id);
CREATE INDEX holdings_transfer_in_idx ON holdings (transfer_in, animal_id);
CREATE INDEX holdings_transfer_out_idx ON holdings (transfer_out, animal_id);
