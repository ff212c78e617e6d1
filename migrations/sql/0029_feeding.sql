-- Invariant: at any instant one thing is said of a food, and one of what a group is given from a day on; what was
-- given once has one record that stands, and is given to a group or to an animal alone, never to both.

CREATE TABLE foods (
  id             uuid PRIMARY KEY,
  food_id        uuid NOT NULL,
  site_id        uuid NOT NULL REFERENCES sites,
  name           text NOT NULL CONSTRAINT foods_name_guard CHECK (name <> ''),
  kcal_per_g     double precision NOT NULL CONSTRAINT foods_energy_guard CHECK (kcal_per_g BETWEEN 0 AND 9.5),
  source         text NOT NULL CONSTRAINT foods_source_guard CHECK (source <> ''),
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text
);
CREATE UNIQUE INDEX foods_site_name_key ON foods (site_id, lower(name)) WHERE superseded_at IS NULL;
CREATE INDEX foods_site_id_idx ON foods (site_id);
CREATE INDEX foods_food_id_idx ON foods (food_id);
CALL holt_guard_own('foods', 'What a site feeds, and the energy in it.', '{
  "food_id": "The food, whatever is said of it.",
  "site_id": "The site.",
  "name": "Name, unique at the site in any case.",
  "kcal_per_g": "Energy in kcal per gram as fed.",
  "source": "Where that is from.",
  "note": "Remarks."
}');

CREATE TABLE feed_plans (
  id             uuid PRIMARY KEY,
  site_id        uuid NOT NULL,
  group_id       uuid NOT NULL,
  begins_on       date NOT NULL,
  content        jsonb NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  FOREIGN KEY (site_id, group_id) REFERENCES groups (site_id, id)
);
CREATE UNIQUE INDEX feed_plans_one_key ON feed_plans (group_id, begins_on) WHERE superseded_at IS NULL;
CREATE INDEX feed_plans_group_idx ON feed_plans (site_id, group_id);
CALL holt_guard_own('feed_plans', 'What a group is to be given each day, from a day on until the next plan.', '{
  "site_id": "The site.",
  "group_id": "The group.",
  "begins_on": "First day on which it holds.",
  "content": "Portions by time of day: food, mass in milligrams, how it is offered, whether it is kept for enrichment."
}');

CREATE TABLE feeds (
  id             uuid PRIMARY KEY,
  feed_id        uuid NOT NULL,
  site_id        uuid NOT NULL REFERENCES sites,
  group_id       uuid,
  animal_id      uuid REFERENCES animals,
  food_id        uuid NOT NULL,
  given_at       timestamptz NOT NULL,
  given_on       date NOT NULL,
  given_mg       bigint NOT NULL CONSTRAINT feeds_given_guard CHECK (given_mg > 0),
  left_mg        bigint CONSTRAINT feeds_left_guard CHECK (left_mg BETWEEN 0 AND given_mg),
  lasted_minutes integer CONSTRAINT feeds_lasted_guard CHECK (lasted_minutes BETWEEN 0 AND 10080),
  method         text NOT NULL CONSTRAINT feeds_method_guard
                 CHECK (method IN ('scattered', 'hidden', 'hand', 'bowl')),
  as_enrichment  boolean NOT NULL,
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  CONSTRAINT feeds_to_guard CHECK (num_nonnulls(group_id, animal_id) = 1),
  FOREIGN KEY (site_id, group_id) REFERENCES groups (site_id, id)
);
CREATE UNIQUE INDEX feeds_one_version_key ON feeds (feed_id) WHERE superseded_at IS NULL;
CREATE INDEX feeds_day_idx ON feeds (site_id, given_on);
CREATE INDEX feeds_group_idx ON feeds (site_id, group_id, given_on);
CREATE INDEX feeds_animal_id_idx ON feeds (animal_id);
CALL holt_guard_own('feeds', 'What was given to a group, or to an animal alone, and what was left of it.', '{
  "feed_id": "What was given, whatever is said of it.",
  "site_id": "The site.",
  "group_id": "The group that it was given to; null where an animal was fed alone.",
  "animal_id": "The animal that was fed alone; null where it was given to a group.",
  "food_id": "The food.",
  "given_at": "When.",
  "given_on": "Its day in the zone of the site.",
  "given_mg": "How much was given, in milligrams as fed.",
  "left_mg": "How much was left, in milligrams; null where nobody has looked.",
  "lasted_minutes": "Minutes that it lasted; null where nobody looked.",
  "method": "How it was offered: scattered, hidden, hand or bowl.",
  "as_enrichment": "Whether it was enrichment, too.",
  "note": "Remarks."
}');
-- About animals that the site has or had to do with, and no others; and of a food of its own.
CREATE POLICY of_ours ON feeds AS RESTRICTIVE FOR INSERT WITH CHECK (
  (animal_id IS NULL OR holt_part(animal_id)) AND EXISTS (SELECT FROM foods f WHERE f.food_id = feeds.food_id));
