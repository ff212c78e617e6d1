-- Invariant: a reading has a mass of more than nothing, or was tried and has none; of one animal and time
-- there is one reading.

CREATE TABLE weights (
  id             uuid NOT NULL,
  animal_id      uuid NOT NULL REFERENCES animals,
  site_id        uuid NOT NULL REFERENCES sites,
  weighed_at     timestamptz NOT NULL,
  weighed_on     date NOT NULL,
  day_only       boolean NOT NULL,
  mass_mg        bigint,
  tried          boolean NOT NULL,
  doubtful       boolean NOT NULL,
  accepted       boolean NOT NULL,
  scale          text NOT NULL,
  method         text NOT NULL CONSTRAINT weights_method_guard
                 CHECK (method IN ('', 'trained', 'handled', 'crate', 'anaesthetised', 'estimate')),
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  PRIMARY KEY (animal_id, id),
  CONSTRAINT weights_mass_guard CHECK (tried = (mass_mg IS NULL) AND mass_mg > 0),
  CONSTRAINT weights_accepted_guard CHECK (NOT (accepted AND tried))
);
CREATE UNIQUE INDEX weights_one_at_a_time_key ON weights (animal_id, weighed_at) WHERE superseded_at IS NULL;
CREATE INDEX weights_series_idx ON weights (animal_id, weighed_at);
CREATE INDEX weights_site_day_idx ON weights (site_id, weighed_on);
CALL holt_guard_fact('weights', 'Readings of a scale.', '{
  "site_id": "The site where it was taken.",
  "weighed_at": "Instant of the reading; noon of the day where only the day is known.",
  "weighed_on": "Day of the reading in the zone of the site.",
  "day_only": "Whether only the day is known.",
  "mass_mg": "Mass in milligrams; null where the animal would not come.",
  "tried": "Whether the animal was offered the scale and would not come.",
  "doubtful": "Whether a second weighing was asked for when it was entered.",
  "accepted": "Whether a person vouches for it: accepted it, or corrected its mass.",
  "scale": "Which scale.",
  "method": "trained, handled, crate, anaesthetised, estimate, or empty where not told.",
  "note": "Conditions worth keeping.",
  "request_id": "The round that recorded it."
}');

-- Rounds are long: whether their animals are the site's to weigh is asked once, for all rows of a statement.
ALTER POLICY record ON weights
  WITH CHECK (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
CREATE FUNCTION holt_weighs_its_own() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
  -- The few that it does not hold or held are asked about one by one; OFFSET keeps the planner from asking about all.
  IF EXISTS (
    SELECT FROM (
      SELECT DISTINCT n.animal_id FROM new_rows n
       WHERE NOT EXISTS (SELECT FROM holdings h
                          WHERE h.animal_id = n.animal_id AND h.superseded_at IS NULL AND h.site_id = n.site_id)
      OFFSET 0
    ) other WHERE NOT holt_part(other.animal_id)
  ) THEN
    RAISE EXCEPTION 'an animal with which the site has nothing to do' USING ERRCODE = 'insufficient_privilege';
  END IF;
  RETURN NULL;
END
$$;
CREATE TRIGGER weighs_its_own AFTER INSERT ON weights REFERENCING NEW TABLE AS new_rows
  FOR EACH STATEMENT EXECUTE FUNCTION holt_weighs_its_own();
