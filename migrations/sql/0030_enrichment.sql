-- Invariant: at any instant one thing is said of an item, and one holds for a group; what was offered once has one
-- record that stands, and is offered to a group or in an enclosure, never both.

CREATE TABLE enrichment_items (
  id             uuid PRIMARY KEY,
  item_id        uuid NOT NULL,
  site_id        uuid NOT NULL REFERENCES sites,
  name           text NOT NULL CONSTRAINT enrichment_items_name_guard CHECK (name <> ''),
  kind           text NOT NULL CONSTRAINT enrichment_items_kind_guard
                 CHECK (kind IN ('food', 'sensory', 'structural', 'social', 'cognitive')),
  content        jsonb NOT NULL,
  out_of_use     boolean NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text
);
CREATE UNIQUE INDEX enrichment_items_site_name_key ON enrichment_items (site_id, lower(name))
  WHERE superseded_at IS NULL;
CREATE INDEX enrichment_items_site_id_idx ON enrichment_items (site_id);
CREATE INDEX enrichment_items_item_id_idx ON enrichment_items (item_id);
CALL holt_guard_own('enrichment_items', 'Things to do and to find out that a site can offer.', '{
  "item_id": "The item, whatever is said of it.",
  "site_id": "The site.",
  "name": "Name, unique at the site in any case.",
  "kind": "What it appeals to: food, sensory, structural, social or cognitive.",
  "content": "Minutes of staff, days of rest, hazards, species that it is not for, energy in kcal, remarks.",
  "out_of_use": "Whether it is offered no more."
}');

CREATE TABLE enrichment_terms (
  id             uuid PRIMARY KEY,
  site_id        uuid NOT NULL,
  group_id       uuid NOT NULL,
  content        jsonb NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  FOREIGN KEY (site_id, group_id) REFERENCES groups (site_id, id)
);
CREATE UNIQUE INDEX enrichment_terms_one_key ON enrichment_terms (group_id) WHERE superseded_at IS NULL;
CREATE INDEX enrichment_terms_group_idx ON enrichment_terms (site_id, group_id);
CALL holt_guard_own('enrichment_terms', 'What holds for a group that is offered enrichment.', '{
  "site_id": "The site.",
  "group_id": "The group.",
  "content": "Hazards that are not taken with it, and how many things it is offered a day."
}');

CREATE TABLE enrichment_offers (
  id             uuid PRIMARY KEY,
  offer_id       uuid NOT NULL,
  site_id        uuid NOT NULL REFERENCES sites,
  group_id       uuid,
  enclosure_id   uuid,
  item_id        uuid NOT NULL,
  given_at       timestamptz NOT NULL,
  given_on       date NOT NULL,
  response       text CONSTRAINT enrichment_offers_response_guard
                 CHECK (response IN ('avoided', 'ignored', 'inspected', 'used')),
  used_minutes   integer CONSTRAINT enrichment_offers_used_guard CHECK (used_minutes BETWEEN 0 AND 10080),
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  CONSTRAINT enrichment_offers_to_guard CHECK (num_nonnulls(group_id, enclosure_id) = 1),
  FOREIGN KEY (site_id, group_id) REFERENCES groups (site_id, id),
  FOREIGN KEY (site_id, enclosure_id) REFERENCES enclosures (site_id, id)
);
CREATE UNIQUE INDEX enrichment_offers_one_version_key ON enrichment_offers (offer_id) WHERE superseded_at IS NULL;
CREATE INDEX enrichment_offers_group_idx ON enrichment_offers (site_id, group_id, given_on);
CREATE INDEX enrichment_offers_enclosure_idx ON enrichment_offers (site_id, enclosure_id, given_on);
CALL holt_guard_own('enrichment_offers', 'What was offered to a group or in an enclosure, and how it was met.', '{
  "offer_id": "What was offered, whatever is said of it.",
  "site_id": "The site.",
  "group_id": "The group; null where it was offered in an enclosure.",
  "enclosure_id": "The enclosure; null where it was offered to a group.",
  "item_id": "The item.",
  "given_at": "When.",
  "given_on": "Its day in the zone of the site.",
  "response": "How it was met: avoided, ignored, inspected or used; null where nobody looked.",
  "used_minutes": "Minutes for which any animal used it; null where nobody timed it.",
  "note": "Remarks."
}');
CREATE POLICY of_ours ON enrichment_offers AS RESTRICTIVE FOR INSERT
  WITH CHECK (EXISTS (SELECT FROM enrichment_items i WHERE i.item_id = enrichment_offers.item_id));
