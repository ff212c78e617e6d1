-- Invariant: a check is for exactly one of an animal, a species, an enclosure, a group or the whole site.

CREATE TABLE checks (
  id             uuid PRIMARY KEY,
  site_id        uuid NOT NULL REFERENCES sites,
  check_id       uuid NOT NULL,
  duty           text NOT NULL CONSTRAINT checks_duty_guard CHECK (duty IN ('weigh', 'assess')),
  animal_id      uuid REFERENCES animals,
  taxon_id       uuid REFERENCES taxa,
  enclosure_id   uuid,
  group_id       uuid,
  recurrence     text NOT NULL,
  starts_on      date NOT NULL,
  ends_on        date,
  grace_days     integer NOT NULL CONSTRAINT checks_grace_guard CHECK (grace_days BETWEEN 0 AND 366),
  by_whom        text NOT NULL,
  note           text NOT NULL,
  recorded_at    timestamptz NOT NULL,
  recorded_by    uuid NOT NULL,
  request_id     uuid NOT NULL,
  superseded_at  timestamptz,
  superseded_in  uuid,
  superseded_why text,
  FOREIGN KEY (site_id, enclosure_id) REFERENCES enclosures (site_id, id),
  CONSTRAINT checks_scope_guard CHECK (num_nonnulls(animal_id, taxon_id, enclosure_id, group_id) <= 1)
);
CREATE UNIQUE INDEX checks_one_version_key ON checks (check_id) WHERE superseded_at IS NULL;
CREATE INDEX checks_site_id_idx ON checks (site_id);
CREATE INDEX checks_animal_id_idx ON checks (animal_id);
CREATE INDEX checks_taxon_id_idx ON checks (taxon_id);
CREATE INDEX checks_enclosure_id_idx ON checks (enclosure_id, site_id);
CREATE INDEX checks_group_id_idx ON checks (group_id, site_id);
CALL holt_guard_own('checks', 'What must be done again and again. No animal, species, enclosure or group: the whole site.', '{
  "site_id": "The site.",
  "check_id": "The check, the same over all its versions.",
  "duty": "weigh or assess.",
  "animal_id": "The one animal it is for.",
  "taxon_id": "The species it is for.",
  "enclosure_id": "The enclosure it is for.",
  "group_id": "The group it is for.",
  "recurrence": "RFC 5545 RRULE over days of the site.",
  "starts_on": "First day of the recurrence.",
  "ends_on": "Last day on which it can fall due; null while it runs.",
  "grace_days": "Days after the due day that still count as in time.",
  "by_whom": "Who is to do it, in words.",
  "note": "What else to know."
}');
-- About animals that the site has or had to do with, and no others.
CREATE POLICY of_ours ON checks AS RESTRICTIVE FOR INSERT WITH CHECK (animal_id IS NULL OR holt_part(animal_id));
