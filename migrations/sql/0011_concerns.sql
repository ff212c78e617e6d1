-- Invariant: one open concern per site, animal (or species in an enclosure, or device) and kind; what was known at each step of it stays.

CREATE TABLE concerns (
  id          uuid PRIMARY KEY,
  site_id     uuid NOT NULL REFERENCES sites,
  animal_id   uuid REFERENCES animals,
  enclosure_id uuid,
  taxon_id    uuid REFERENCES taxa,
  device_id   uuid,
  kind        text NOT NULL CONSTRAINT concerns_kind_guard
              CHECK (kind IN ('weight_trend', 'scale_refused', 'group_weight', 'scale_off', 'growth', 'pushed_out',
                              'climate', 'device_silent')),
  state       text NOT NULL CONSTRAINT concerns_state_guard CHECK (state IN ('raised', 'taken_up', 'settled')),
  version     bigint NOT NULL,
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  FOREIGN KEY (site_id, enclosure_id) REFERENCES enclosures (site_id, id),
  -- For the foreign key that keeps a step at the site of its concern.
  CONSTRAINT concerns_site_id_id_key UNIQUE (site_id, id),
  CONSTRAINT concerns_of_one_guard CHECK (
    num_nonnulls(animal_id, taxon_id, device_id) = 1 AND (animal_id IS NULL) = (enclosure_id IS NOT NULL)
    AND (kind IN ('group_weight', 'scale_off')) = (taxon_id IS NOT NULL)
    AND (kind IN ('climate', 'device_silent')) = (device_id IS NOT NULL))
);
CREATE UNIQUE INDEX concerns_one_open_group_key ON concerns (site_id, enclosure_id, taxon_id, kind)
  WHERE state <> 'settled';
CREATE UNIQUE INDEX concerns_one_open_device_key ON concerns (site_id, device_id, kind) WHERE state <> 'settled';
CREATE UNIQUE INDEX concerns_one_open_key ON concerns (site_id, animal_id, kind) WHERE state <> 'settled';
CREATE INDEX concerns_site_id_idx ON concerns (site_id);
CREATE INDEX concerns_animal_id_idx ON concerns (animal_id);
CREATE INDEX concerns_enclosure_id_idx ON concerns (enclosure_id, site_id);
CREATE INDEX concerns_taxon_id_idx ON concerns (taxon_id);
CALL holt_guard('concerns', 'What the audit module raised.', '{
  "id": "Identifier (UUIDv7).",
  "site_id": "The site that held the animal.",
  "animal_id": "The animal; null where it is about a group or a device.",
  "enclosure_id": "The enclosure that the group lives in or the device is in; null where it is about one animal.",
  "taxon_id": "The species of the group; null where it is about one animal or a device.",
  "device_id": "The device; null where it is about animals.",
  "kind": "weight_trend, scale_refused, group_weight, scale_off, growth, pushed_out, climate or device_silent.",
  "state": "raised, taken_up or settled; its steps say how it got there.",
  "version": "Grows by one with each step.",
  "recorded_at": "When it was raised.",
  "recorded_by": "Whose record raised it.",
  "request_id": "The write that raised it."
}');
GRANT UPDATE (state, version) ON concerns TO holt_service;
CREATE POLICY own ON concerns
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));

-- About animals that the site has or had to do with, and no others.
CREATE POLICY of_ours ON concerns AS RESTRICTIVE FOR INSERT WITH CHECK (animal_id IS NULL OR holt_part(animal_id));

CREATE TABLE concern_steps (
  concern_id  uuid NOT NULL,
  seq         bigint NOT NULL,
  site_id     uuid NOT NULL REFERENCES sites,
  step        text NOT NULL CONSTRAINT concern_steps_step_guard
              CHECK (step IN ('raised', 'changed', 'taken_up', 'settled')),
  level       text NOT NULL CONSTRAINT concern_steps_level_guard CHECK (level IN ('watch', 'act', 'urgent')),
  seen        text NOT NULL,
  look_first  text NOT NULL,
  figures     jsonb NOT NULL,
  record_ids  jsonb NOT NULL,
  note        text NOT NULL,
  settled_as  text CONSTRAINT concern_steps_settled_as_guard
              CHECK (settled_as IN ('false_alarm', 'treated', 'new_normal')),
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL REFERENCES people,
  request_id  uuid NOT NULL,
  CONSTRAINT concern_steps_pkey PRIMARY KEY (concern_id, seq),
  FOREIGN KEY (site_id, concern_id) REFERENCES concerns (site_id, id)
);
CREATE INDEX concern_steps_site_id_idx ON concern_steps (site_id, concern_id);
CREATE INDEX concern_steps_recorded_by_idx ON concern_steps (recorded_by);
CALL holt_guard('concern_steps', 'Steps of concerns, each with what was known then; never changed.', '{
  "concern_id": "The concern.",
  "seq": "1 and up.",
  "site_id": "The site.",
  "step": "raised, changed, taken_up or settled.",
  "level": "watch, act or urgent.",
  "seen": "What was seen, in words.",
  "look_first": "What to look at first.",
  "figures": "The numbers: name, value, unit, low, high.",
  "record_ids": "The records it rests on.",
  "note": "What the person said.",
  "settled_as": "As what a concern about weight was settled: false_alarm, treated or new_normal; null of other steps.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who took the step; for raised and changed, whose record led to it.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY own ON concern_steps
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));

-- What is expected from then on hangs on it: of a concern about weight somebody says it, of no other.
CREATE FUNCTION holt_settles_as() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
  IF (NEW.settled_as IS NOT NULL) <> (NEW.step = 'settled' AND EXISTS (
        SELECT FROM concerns c WHERE c.id = NEW.concern_id AND c.kind IN ('weight_trend', 'growth', 'group_weight'))) THEN
    RAISE EXCEPTION 'as what a concern about weight is settled is said with that step, and with no other'
      USING ERRCODE = 'check_violation', CONSTRAINT = 'concern_steps_meaning_guard';
  END IF;
  RETURN NEW;
END
$$;
CREATE TRIGGER settles_as BEFORE INSERT ON concern_steps FOR EACH ROW EXECUTE FUNCTION holt_settles_as();
