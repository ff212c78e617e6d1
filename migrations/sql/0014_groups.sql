-- Invariant: at no instant does an animal belong to two groups.

CREATE TABLE groups (
  id          uuid PRIMARY KEY,
  site_id     uuid NOT NULL REFERENCES sites,
  name        text NOT NULL CONSTRAINT groups_name_guard CHECK (name <> ''),
  note        text NOT NULL,
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  -- For the foreign key that keeps a membership at its own site.
  CONSTRAINT groups_site_id_id_key UNIQUE (site_id, id)
);
CREATE UNIQUE INDEX groups_site_name_key ON groups (site_id, lower(name));
CALL holt_guard('groups', 'Animals of a site that live as one social unit.', '{
  "id": "Identifier (UUIDv7).",
  "site_id": "The site.",
  "name": "Name, unique at the site in any case.",
  "note": "Remarks.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY own ON groups
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));

CREATE TABLE memberships (
  id              uuid NOT NULL,
  animal_id       uuid NOT NULL REFERENCES animals,
  site_id         uuid NOT NULL,
  group_id        uuid NOT NULL,
  role            text NOT NULL CONSTRAINT memberships_role_guard
                  CHECK (role IN ('member', 'breeding', 'helper', 'juvenile', 'on_trial')),
  began_at        timestamptz NOT NULL,
  ended_at        timestamptz,
  ended_why       text NOT NULL,
  recorded_at     timestamptz NOT NULL,
  recorded_by     uuid NOT NULL,
  request_id      uuid NOT NULL,
  superseded_at   timestamptz,
  superseded_in   uuid,
  superseded_why  text,
  PRIMARY KEY (animal_id, id),
  FOREIGN KEY (site_id, group_id) REFERENCES groups (site_id, id),
  CONSTRAINT memberships_interval_guard CHECK (ended_at > began_at),
  CONSTRAINT memberships_one_group EXCLUDE USING gist
    (animal_id WITH =, tstzrange(began_at, ended_at) WITH &&) WHERE (superseded_at IS NULL)
);
CREATE INDEX memberships_group_idx ON memberships (site_id, group_id);
CALL holt_guard_fact('memberships', 'Which group an animal belongs to and in which role, as an interval.', '{
  "site_id": "The site of the group.",
  "group_id": "The group.",
  "role": "member, breeding, helper, juvenile or on_trial.",
  "began_at": "First instant.",
  "ended_at": "First instant after; null while it lasts.",
  "ended_why": "Why it ended."
}');

ALTER TABLE checks ADD FOREIGN KEY (site_id, group_id) REFERENCES groups (site_id, id);
