-- Invariant: a crate reading is of one litter or one group, and is never divided among animals.

CREATE TABLE crate_readings (
  id             uuid PRIMARY KEY,
  site_id        uuid NOT NULL REFERENCES sites,
  litter_id      uuid,
  group_id       uuid,
  weighed_at     timestamptz NOT NULL,
  weighed_on     date NOT NULL,
  day_only       boolean NOT NULL,
  mass_mg        bigint NOT NULL CONSTRAINT crate_readings_mass_guard CHECK (mass_mg > 0),
  animals        integer NOT NULL CONSTRAINT crate_readings_animals_guard CHECK (animals > 0),
  scale          text NOT NULL,
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  FOREIGN KEY (site_id, litter_id) REFERENCES litters (site_id, id),
  FOREIGN KEY (site_id, group_id) REFERENCES groups (site_id, id),
  CONSTRAINT crate_readings_of_one_guard CHECK (num_nonnulls(litter_id, group_id) = 1)
);
CREATE UNIQUE INDEX crate_readings_one_at_a_time_key
  ON crate_readings (coalesce(litter_id, group_id), weighed_at) WHERE superseded_at IS NULL;
CREATE INDEX crate_readings_site_id_idx ON crate_readings (site_id);
CREATE INDEX crate_readings_litter_id_idx ON crate_readings (litter_id, site_id);
CREATE INDEX crate_readings_group_id_idx ON crate_readings (group_id, site_id);
CALL holt_guard_own('crate_readings', 'Readings of a scale with several animals in one crate.', '{
  "site_id": "The site where it was taken.",
  "litter_id": "The litter whose young were in the crate.",
  "group_id": "The group whose members were in the crate.",
  "weighed_at": "Instant of the reading; noon of the day where only the day is known.",
  "weighed_on": "Day of the reading in the zone of the site.",
  "day_only": "Whether only the day is known.",
  "mass_mg": "Mass of all of them together, in milligrams.",
  "animals": "Number of animals in the crate.",
  "scale": "Which scale.",
  "note": "Conditions worth keeping."
}');
