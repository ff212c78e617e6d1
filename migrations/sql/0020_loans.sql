-- Invariant: an animal is on one loan at a time, and lender and borrower are two.

CREATE TABLE loans (
  id               uuid NOT NULL,
  animal_id        uuid NOT NULL REFERENCES animals,
  site_id          uuid NOT NULL REFERENCES sites,
  loan_id          uuid NOT NULL,
  lender_site_id   uuid REFERENCES sites,
  lender_name      text NOT NULL,
  borrower_site_id uuid REFERENCES sites,
  borrower_name    text NOT NULL,
  began_at         timestamptz NOT NULL,
  began_on         date NOT NULL,
  until_on         date,
  terms            text NOT NULL,
  transfer_id      uuid,
  ended_at         timestamptz,
  ended_on         date,
  ended_how        text CONSTRAINT loans_ended_how_guard
                   CHECK (ended_how IN ('returned', 'title_passed', 'moved_on', 'died', 'escaped')),
  recorded_at      timestamptz NOT NULL,
  recorded_by      uuid NOT NULL,
  request_id       uuid NOT NULL,
  superseded_at    timestamptz,
  superseded_in    uuid,
  superseded_why   text,
  PRIMARY KEY (animal_id, id),
  FOREIGN KEY (transfer_id, animal_id) REFERENCES transfers (id, animal_id),
  CONSTRAINT loans_lender_guard CHECK ((lender_site_id IS NULL) = (lender_name <> '')),
  CONSTRAINT loans_borrower_guard CHECK ((borrower_site_id IS NULL) = (borrower_name <> '')),
  CONSTRAINT loans_two_guard CHECK (lender_site_id IS DISTINCT FROM borrower_site_id
                                    OR lender_site_id IS NULL),
  CONSTRAINT loans_interval_guard CHECK (ended_at > began_at AND ended_on >= began_on),
  CONSTRAINT loans_end_guard CHECK ((ended_at IS NULL) = (ended_on IS NULL)
                                AND (ended_at IS NULL) = (ended_how IS NULL)),
  CONSTRAINT loans_one_at_a_time EXCLUDE USING gist
    (animal_id WITH =, tstzrange(began_at, ended_at) WITH &&) WHERE (superseded_at IS NULL)
);
CREATE UNIQUE INDEX loans_one_version_key ON loans (animal_id, loan_id) WHERE superseded_at IS NULL;
CREATE INDEX loans_site_id_idx ON loans (site_id);
CREATE INDEX loans_lender_site_id_idx ON loans (lender_site_id);
CREATE INDEX loans_borrower_site_id_idx ON loans (borrower_site_id);
CREATE INDEX loans_transfer_id_idx ON loans (transfer_id, animal_id);
CALL holt_guard_fact('loans', 'Who keeps an animal of another owner, as an interval with terms.', '{
  "site_id": "The site that recorded it.",
  "loan_id": "The loan, the same over all versions of what is known of it.",
  "lender_site_id": "Who lends, where it is a site in Holt.",
  "lender_name": "Who lends, where it is somebody else.",
  "borrower_site_id": "Who borrows, where it is a site in Holt.",
  "borrower_name": "Who borrows, where it is somebody else.",
  "began_at": "First instant.",
  "began_on": "Day on which it began, in the zone of the site that recorded it.",
  "until_on": "Last day of the loan; null where none is agreed.",
  "terms": "What else is agreed.",
  "transfer_id": "The transfer that began it.",
  "ended_at": "First instant after; null while it lasts.",
  "ended_on": "Day on which it ended, in the zone of the site that recorded the end.",
  "ended_how": "returned, title_passed, moved_on, died or escaped."
}');
-- Both parties know of it and may end or prolong it, wherever the animal lives.
CREATE POLICY read_party ON loans FOR SELECT USING (
  lender_site_id = ANY ((SELECT holt_sites())::uuid[]) OR borrower_site_id = ANY ((SELECT holt_sites())::uuid[]));
CREATE POLICY supersede_party ON loans FOR UPDATE USING (
  lender_site_id = ANY ((SELECT holt_sites())::uuid[]) OR borrower_site_id = ANY ((SELECT holt_sites())::uuid[]));

-- An owner may pass its title, whoever recorded it.
CREATE POLICY supersede_owner ON titles FOR UPDATE USING (owner_site_id = ANY ((SELECT holt_sites())::uuid[]));
-- Whoever owned it sees for ever that it did, whoever recorded the beginning or the end.
CREATE POLICY read_owner ON titles FOR SELECT USING (owner_site_id = ANY ((SELECT holt_sites())::uuid[]));
