-- Invariant: what a device said at an instant is kept once; what must be kept in an enclosure is one rule book
-- for each measure.

CREATE TABLE devices (
  id                     uuid NOT NULL,
  device_id              uuid NOT NULL,
  site_id                uuid NOT NULL,
  enclosure_id           uuid NOT NULL,
  name                   text NOT NULL CONSTRAINT devices_name_guard CHECK (name <> ''),
  measure                text NOT NULL CONSTRAINT devices_measure_guard CHECK (measure IN
                         ('temperature', 'humidity', 'uv_index', 'water_temperature', 'water_ph')),
  may_be_silent_minutes  integer NOT NULL
                         CONSTRAINT devices_silence_guard CHECK (may_be_silent_minutes BETWEEN 1 AND 10080),
  note                   text NOT NULL,
  recorded_at            timestamptz NOT NULL,
  recorded_by            uuid NOT NULL,
  request_id             uuid NOT NULL,
  superseded_at          timestamptz,
  superseded_in          uuid,
  superseded_why         text,
  PRIMARY KEY (id),
  FOREIGN KEY (site_id, enclosure_id) REFERENCES enclosures (site_id, id)
);
CREATE UNIQUE INDEX devices_site_name_key ON devices (site_id, lower(name)) WHERE superseded_at IS NULL;
CREATE INDEX devices_enclosure_idx ON devices (site_id, enclosure_id);
CREATE INDEX devices_device_id_idx ON devices (device_id);
CALL holt_guard_own('devices', 'Thermometers and other devices that say what an enclosure is like.', '{
  "device_id": "The device, whatever is said of it.",
  "site_id": "The site.",
  "enclosure_id": "The enclosure that it is in.",
  "name": "Name, unique at the site in any case.",
  "measure": "What it reads: temperature or water_temperature in °C, humidity in percent, uv_index, water_ph.",
  "may_be_silent_minutes": "For so many minutes it may say nothing.",
  "note": "Remarks."
}');

CREATE TABLE climate_rules (
  id             uuid PRIMARY KEY,
  site_id        uuid NOT NULL,
  enclosure_id   uuid NOT NULL,
  measure        text NOT NULL CONSTRAINT climate_rules_measure_guard CHECK (measure IN
                 ('temperature', 'humidity', 'uv_index', 'water_temperature', 'water_ph')),
  content        jsonb NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  FOREIGN KEY (site_id, enclosure_id) REFERENCES enclosures (site_id, id)
);
CREATE UNIQUE INDEX climate_rules_one_key ON climate_rules (enclosure_id, measure) WHERE superseded_at IS NULL;
CREATE INDEX climate_rules_enclosure_idx ON climate_rules (site_id, enclosure_id);
CALL holt_guard_own('climate_rules', 'What must be kept in an enclosure, of one measure.', '{
  "site_id": "The site.",
  "enclosure_id": "The enclosure.",
  "measure": "Of what, as devices read it.",
  "content": "Ranges with their seasons and hours, the first that applies holds; and how quick alarms are."
}');

-- One row for all that one device said in one write: many readings a second are few rows, each vouched for by
-- one line of the ledger.
CREATE TABLE device_batches (
  id          uuid PRIMARY KEY,
  device_id   uuid NOT NULL,
  site_id     uuid NOT NULL REFERENCES sites,
  first_at    timestamptz NOT NULL,
  last_at     timestamptz NOT NULL,
  read_at     timestamptz[] NOT NULL,
  values      double precision[] NOT NULL,
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  CONSTRAINT device_batches_pairs_guard CHECK (
    cardinality(read_at) = cardinality(values) AND cardinality(read_at) > 0 AND first_at <= last_at)
);
CREATE INDEX device_batches_device_idx ON device_batches (device_id, last_at, first_at);
CREATE INDEX device_batches_site_id_idx ON device_batches (site_id);
CALL holt_guard('device_batches', 'What devices read, as many readings of one device as came in one write.', '{
  "id": "Identifier (UUIDv7).",
  "device_id": "The device.",
  "site_id": "The site.",
  "first_at": "Instant of the first reading.",
  "last_at": "Instant of the last reading.",
  "read_at": "Instants of the readings, in order; each is in one batch of the device.",
  "values": "What was read at each, in the unit of the measure.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY own ON device_batches
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
CREATE POLICY of_ours ON device_batches AS RESTRICTIVE FOR INSERT
  WITH CHECK (EXISTS (SELECT FROM devices d WHERE d.device_id = device_batches.device_id));
CREATE POLICY of_our_device ON concerns AS RESTRICTIVE FOR INSERT
  WITH CHECK (device_id IS NULL OR EXISTS (SELECT FROM devices d WHERE d.device_id = concerns.device_id));
