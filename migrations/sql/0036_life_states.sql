-- Invariant: an animal is in a state of one kind once at a time; only carrying is ever suspected.

CREATE TABLE life_states (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  state          text NOT NULL CONSTRAINT life_states_state_guard
                 CHECK (state IN ('carrying', 'moult', 'rut', 'torpor', 'rest')),
  suspected      boolean NOT NULL,
  began_at       timestamptz NOT NULL,
  ended_at       timestamptz,
  ended_how      text CONSTRAINT life_states_ended_how_guard
                 CHECK (ended_how IN ('over', 'birth', 'left', 'confirmed')),
  ended_why      text NOT NULL,
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id),
  CONSTRAINT life_states_interval_guard CHECK (ended_at > began_at),
  CONSTRAINT life_states_end_guard CHECK ((ended_at IS NULL) = (ended_how IS NULL)),
  CONSTRAINT life_states_suspected_guard CHECK (state = 'carrying' OR NOT suspected),
  CONSTRAINT life_states_birth_guard CHECK (state = 'carrying' OR ended_how NOT IN ('birth', 'confirmed')),
  CONSTRAINT life_states_once_at_a_time EXCLUDE USING gist
    (animal_id WITH =, state WITH =, tstzrange(began_at, ended_at) WITH &&) WHERE (superseded_at IS NULL)
);
CREATE INDEX life_states_site_id_idx ON life_states (site_id);
CALL holt_guard_fact('life_states', 'What an animal goes through for a while, and what its weight depends on.', '{
  "site_id": "The site that held it then.",
  "state": "carrying, moult, rut, torpor or rest.",
  "suspected": "Whether it is suspected only.",
  "began_at": "First instant; the start of the day where only the day is known.",
  "ended_at": "First instant after; null while it lasts.",
  "ended_how": "over, birth, left or confirmed; null while it lasts.",
  "ended_why": "Why it ended.",
  "note": "What was seen."
}');
