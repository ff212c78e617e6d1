-- Invariant: an event of a watch stands under its number once; what was withdrawn stays on record.

CREATE TABLE watches (
  id           uuid PRIMARY KEY,
  site_id      uuid NOT NULL,
  group_id     uuid NOT NULL,
  ethogram_id  uuid NOT NULL REFERENCES ethograms,
  began_at     timestamptz NOT NULL,
  focal_ids    uuid[] NOT NULL,
  recorded_at  timestamptz NOT NULL,
  recorded_by  uuid NOT NULL,
  request_id   uuid NOT NULL,
  FOREIGN KEY (site_id, group_id) REFERENCES groups (site_id, id),
  -- For the foreign key that keeps an event at the site of its watch.
  CONSTRAINT watches_site_id_id_key UNIQUE (site_id, id)
);
CREATE INDEX watches_group_idx ON watches (site_id, group_id, began_at);
CREATE INDEX watches_ethogram_id_idx ON watches (ethogram_id);
CALL holt_guard('watches', 'Stretches of watching a group. A watch ends with an event that says so.', '{
  "id": "Identifier (UUID), made by whoever watched.",
  "site_id": "The site of the group.",
  "group_id": "The group.",
  "ethogram_id": "The version of the ethogram that it was watched by.",
  "began_at": "When it began.",
  "focal_ids": "The animals that were watched; empty where it was the whole group.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who watched.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY own ON watches
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
-- About animals that the site has or had to do with, and no others.
CREATE POLICY of_ours ON watches AS RESTRICTIVE FOR INSERT WITH CHECK (holt_part_in_all(focal_ids));

CREATE TABLE watch_events (
  id             uuid PRIMARY KEY,
  site_id        uuid NOT NULL,
  watch_id       uuid NOT NULL,
  number         integer NOT NULL CONSTRAINT watch_events_number_guard CHECK (number > 0),
  happened_at    timestamptz NOT NULL,
  content        jsonb NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  FOREIGN KEY (site_id, watch_id) REFERENCES watches (site_id, id),
  -- Also of those withdrawn: sent again, an event does not come back.
  CONSTRAINT watch_events_number_key UNIQUE (watch_id, number)
);
CREATE INDEX watch_events_watch_idx ON watch_events (site_id, watch_id);
CALL holt_guard_own('watch_events', 'What was seen in watches.', '{
  "site_id": "The site.",
  "watch_id": "The watch.",
  "number": "Number in the watch, 1 and up.",
  "happened_at": "When it happened.",
  "content": "What happened: an interaction, a scan of the group, a bout of one animal, who is out of sight, a feed, a remark, or the end."
}');
