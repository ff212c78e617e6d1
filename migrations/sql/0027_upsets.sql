-- Invariant: an upset is of a group of its site, and calm comes after it.

CREATE TABLE upsets (
  id                 uuid PRIMARY KEY,
  site_id            uuid NOT NULL,
  group_id           uuid NOT NULL,
  kind               text NOT NULL CONSTRAINT upsets_kind_guard
                     CHECK (kind IN ('alarm', 'fight', 'escape', 'visitor', 'other')),
  began_at           timestamptz NOT NULL,
  happened           text NOT NULL CONSTRAINT upsets_happened_guard CHECK (happened <> ''),
  response           text NOT NULL,
  calm_after_minutes integer CONSTRAINT upsets_calm_guard CHECK (calm_after_minutes BETWEEN 0 AND 10080),
  animal_ids         uuid[] NOT NULL,
  recorded_at        timestamptz NOT NULL,
  recorded_by        uuid NOT NULL,
  request_id         uuid NOT NULL,
  FOREIGN KEY (site_id, group_id) REFERENCES groups (site_id, id)
);
CREATE INDEX upsets_group_idx ON upsets (site_id, group_id, began_at);
CALL holt_guard('upsets', 'What befell whole groups: alarm, fights, escapes, visitors.', '{
  "id": "Identifier (UUIDv7).",
  "site_id": "The site of the group.",
  "group_id": "The group.",
  "kind": "alarm, fight, escape, visitor or other.",
  "began_at": "When it began.",
  "happened": "What happened.",
  "response": "What was done about it.",
  "calm_after_minutes": "Minutes until the group was calm; null where nobody saw it.",
  "animal_ids": "Animals that it befell most.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY own ON upsets
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
-- About animals that the site has or had to do with, and no others.
CREATE POLICY of_ours ON upsets AS RESTRICTIVE FOR INSERT WITH CHECK (holt_part_in_all(animal_ids));
