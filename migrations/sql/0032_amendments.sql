-- Invariant: a change of another site's animal is proposed by a site that held or owned it, and made or declined
-- by its holder alone; that an animal is also in the books of another site, by the site that answers for it, and
-- answered by the site that is asked; each proposal is answered once.

CREATE TABLE amendments (
  id          uuid PRIMARY KEY,
  animal_id   uuid NOT NULL REFERENCES animals,
  site_id     uuid NOT NULL REFERENCES sites,
  kind        text NOT NULL CONSTRAINT amendments_kind_guard CHECK (kind IN ('correction', 'withdrawal', 'death', 'merge', 'unmerge')),
  fact_id     uuid,
  asked_id    uuid REFERENCES sites,
  change      jsonb NOT NULL,
  says        text NOT NULL CONSTRAINT amendments_says_guard CHECK (says <> ''),
  because     text NOT NULL CONSTRAINT amendments_because_guard CHECK (because <> ''),
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  CONSTRAINT amendments_fact_guard CHECK ((fact_id IS NULL) = (kind IN ('death', 'merge', 'unmerge'))),
  CONSTRAINT amendments_asked_guard CHECK ((asked_id IS NOT NULL) = (kind = 'merge') AND asked_id IS DISTINCT FROM site_id),
  -- For the foreign key that keeps an answer with the animal and the site of what it answers.
  CONSTRAINT amendments_id_animal_id_site_id_key UNIQUE (id, animal_id, site_id)
);
CREATE INDEX amendments_animal_id_idx ON amendments (animal_id);
CREATE INDEX amendments_site_id_idx ON amendments (site_id);
CREATE INDEX amendments_asked_id_idx ON amendments (asked_id);
CALL holt_guard('amendments', 'Changes of an animal''s record that a site proposes to its holder.', '{
  "id": "Identifier (UUIDv7).",
  "animal_id": "The animal.",
  "site_id": "The site that proposes it.",
  "kind": "correction, withdrawal, death, merge or unmerge.",
  "fact_id": "The version of the fact that is to be corrected or withdrawn; null otherwise.",
  "asked_id": "The site that is asked whether a record of its own is of the same animal; null otherwise, where the holder is asked.",
  "change": "The very change, as the rules read it.",
  "says": "The change in words.",
  "because": "Why.",
  "recorded_at": "When it was proposed.",
  "recorded_by": "Who proposed it.",
  "request_id": "The write that proposed it."
}');

CREATE TABLE amendment_answers (
  amendment_id uuid NOT NULL,
  animal_id    uuid NOT NULL,
  proposer_id  uuid NOT NULL,
  outcome      text NOT NULL CONSTRAINT amendment_answers_outcome_guard
               CHECK (outcome IN ('accepted', 'declined', 'withdrawn')),
  site_id      uuid NOT NULL REFERENCES sites,
  note         text NOT NULL,
  recorded_at  timestamptz NOT NULL,
  recorded_by  uuid NOT NULL,
  request_id   uuid NOT NULL,
  CONSTRAINT amendment_answers_pkey PRIMARY KEY (amendment_id),
  FOREIGN KEY (amendment_id, animal_id, proposer_id) REFERENCES amendments (id, animal_id, site_id),
  CONSTRAINT amendment_answers_reason_guard CHECK (outcome <> 'declined' OR note <> '')
);
CREATE INDEX amendment_answers_amendment_idx ON amendment_answers (amendment_id, animal_id, proposer_id);
CREATE INDEX amendment_answers_animal_id_idx ON amendment_answers (animal_id, request_id);
CREATE INDEX amendment_answers_site_id_idx ON amendment_answers (site_id);
CALL holt_guard('amendment_answers', 'What became of a proposed change, once for each.', '{
  "amendment_id": "The change that was proposed.",
  "animal_id": "The animal.",
  "proposer_id": "The site that proposed it.",
  "outcome": "accepted or declined by the holder, or withdrawn by the site that proposed it.",
  "site_id": "The site that says so.",
  "note": "Why it was declined; a remark otherwise.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it; an accepted change was made by the same."
}');

-- The site whose answer a proposal is: the one that is asked, or else whoever answers for the animal. Runs as owner:
-- the policies of the proposals look at the answers.
CREATE FUNCTION holt_asked(amendment uuid, animal uuid) RETURNS uuid
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
  asked CONSTANT uuid := (SELECT a.asked_id FROM amendments a WHERE a.id = amendment);
BEGIN
  RETURN coalesce(asked, holt_answers_for(holt_linked_with(animal)));
END
$$;

-- The answers know animal and proposer by themselves: so the policies of the one look at the other, and not back.
CREATE POLICY read ON amendment_answers FOR SELECT USING (
  site_id = ANY ((SELECT holt_sites())::uuid[]) OR proposer_id = ANY ((SELECT holt_sites())::uuid[])
  OR (SELECT holt_everywhere()) OR holt_answers(animal_id) IS NOT NULL
  OR holt_asked(amendment_id, animal_id) = ANY (holt_sites()));
CREATE POLICY record ON amendment_answers FOR INSERT WITH CHECK (
  site_id = ANY ((SELECT holt_sites())::uuid[])
  AND CASE outcome WHEN 'withdrawn' THEN site_id = proposer_id
                   ELSE coalesce(holt_asked(amendment_id, animal_id) = site_id, false) END);

CREATE POLICY read ON amendments FOR SELECT USING (
  site_id = ANY ((SELECT holt_sites())::uuid[]) OR asked_id = ANY ((SELECT holt_sites())::uuid[])
  OR (SELECT holt_everywhere()) OR holt_answers(animal_id) IS NOT NULL
  OR EXISTS (SELECT FROM amendment_answers n
              WHERE n.amendment_id = amendments.id AND n.site_id = ANY ((SELECT holt_sites())::uuid[])));
CREATE POLICY record ON amendments FOR INSERT WITH CHECK (
  site_id = ANY ((SELECT holt_sites())::uuid[])
  AND CASE kind WHEN 'merge' THEN coalesce(holt_answers(animal_id) = site_id, false)
                ELSE holt_answers(animal_id) IS DISTINCT FROM site_id AND holt_knew(animal_id, site_id) END);
