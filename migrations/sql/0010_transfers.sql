-- Invariant: an animal is on one open transfer at most; each step is recorded once, in order.

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
CREATE POLICY own ON transfers USING (
  from_site_id = ANY ((SELECT holt_sites())::uuid[]) OR to_site_id = ANY ((SELECT holt_sites())::uuid[])
  OR (SELECT holt_everywhere()));

CREATE TABLE transfer_steps (
  transfer_id  uuid NOT NULL REFERENCES transfers,
  seq          integer NOT NULL,
  step         text NOT NULL CONSTRAINT transfer_steps_step_guard CHECK (step IN
               ('proposed', 'agreed', 'dispatched', 'received', 'refused', 'cancelled', 'died', 'escaped',
                'withheld', 'released')),
  state        text NOT NULL,
  site_id      uuid NOT NULL REFERENCES sites,
  happened_at  timestamptz NOT NULL,
  note         text NOT NULL,
  to_number    text NOT NULL,
  recorded_at  timestamptz NOT NULL,
  recorded_by  uuid NOT NULL,
  request_id   uuid NOT NULL,
  CONSTRAINT transfer_steps_pkey PRIMARY KEY (transfer_id, seq)
);
CREATE INDEX transfer_steps_site_id_idx ON transfer_steps (site_id, happened_at);
CALL holt_guard('transfer_steps', 'Steps of transfers, never changed.', '{
  "transfer_id": "The transfer.",
  "seq": "1 and up.",
  "step": "What was done.",
  "state": "Where the transfer stood after it.",
  "site_id": "The site whose person did it.",
  "happened_at": "When it happened.",
  "note": "Reason or remark.",
  "to_number": "For a receipt, the accession that the destination gave.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY read ON transfer_steps FOR SELECT
  USING (EXISTS (SELECT FROM transfers t WHERE t.id = transfer_id));
CREATE POLICY record ON transfer_steps FOR INSERT
  WITH CHECK (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));

ALTER TABLE holdings ADD FOREIGN KEY (transfer_in) REFERENCES transfers;
ALTER TABLE holdings ADD FOREIGN KEY (transfer_out) REFERENCES transfers;
CREATE INDEX holdings_transfer_in_idx ON holdings (transfer_in);
CREATE INDEX holdings_transfer_out_idx ON holdings (transfer_out);
