-- Invariant: a change of what all sites share is proposed by a site and made or declined by who acts everywhere; each
-- proposal is answered once.

CREATE TABLE proposals (
  id          uuid PRIMARY KEY,
  site_id     uuid NOT NULL REFERENCES sites,
  change      jsonb NOT NULL,
  says        text NOT NULL CONSTRAINT proposals_says_guard CHECK (says <> ''),
  because     text NOT NULL CONSTRAINT proposals_because_guard CHECK (because <> ''),
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  -- For the foreign key that keeps an answer with the site of what it answers.
  CONSTRAINT proposals_id_site_id_key UNIQUE (id, site_id)
);
CREATE INDEX proposals_site_id_idx ON proposals (site_id);
CALL holt_guard('proposals', 'Changes of what all sites share that a site proposes.', '{
  "id": "Identifier (UUIDv7).",
  "site_id": "The site that proposes it.",
  "change": "The very change, as the rules read it.",
  "says": "The change in words.",
  "because": "Why.",
  "recorded_at": "When it was proposed.",
  "recorded_by": "Who proposed it.",
  "request_id": "The write that proposed it."
}');

CREATE TABLE proposal_answers (
  proposal_id uuid NOT NULL,
  proposer_id uuid NOT NULL,
  outcome     text NOT NULL CONSTRAINT proposal_answers_outcome_guard
              CHECK (outcome IN ('accepted', 'declined', 'withdrawn')),
  note        text NOT NULL,
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  CONSTRAINT proposal_answers_pkey PRIMARY KEY (proposal_id),
  FOREIGN KEY (proposal_id, proposer_id) REFERENCES proposals (id, site_id),
  CONSTRAINT proposal_answers_reason_guard CHECK (outcome <> 'declined' OR note <> '')
);
CREATE INDEX proposal_answers_proposal_idx ON proposal_answers (proposal_id, proposer_id);
CALL holt_guard('proposal_answers', 'What became of a proposal, once for each.', '{
  "proposal_id": "The proposal.",
  "proposer_id": "The site that made it.",
  "outcome": "accepted or declined by a curator, or withdrawn by the site.",
  "note": "Why it was declined; a remark otherwise.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it; an accepted change was made by the same."
}');

-- Lets one write change at a time what all sites share.
CREATE FUNCTION holt_curate() RETURNS void LANGUAGE sql VOLATILE AS $$
  SELECT pg_advisory_xact_lock(x'32181'::int);
$$;

CREATE POLICY read ON proposals FOR SELECT USING (holt_mine(site_id));
CREATE POLICY record ON proposals FOR INSERT WITH CHECK (site_id = ANY ((SELECT holt_sites())::uuid[]));
CREATE POLICY read ON proposal_answers FOR SELECT USING (holt_mine(proposer_id));
CREATE POLICY record ON proposal_answers FOR INSERT WITH CHECK (
  CASE outcome WHEN 'withdrawn' THEN proposer_id = ANY ((SELECT holt_sites())::uuid[])
               ELSE (SELECT holt_everywhere()) END);
