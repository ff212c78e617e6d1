-- Invariant: a site's code is unique and never changes; an enclosure belongs to one site for good.

CREATE TABLE sites (
  id          uuid PRIMARY KEY,
  code        text NOT NULL CONSTRAINT sites_code_key UNIQUE
              CONSTRAINT sites_code_guard CHECK (code ~ '^[A-Z]{3}$'),
  name        text NOT NULL CONSTRAINT sites_name_guard CHECK (name <> ''),
  time_zone   text NOT NULL,
  licence     text NOT NULL DEFAULT '',
  latitude    double precision CONSTRAINT sites_latitude_guard CHECK (latitude BETWEEN -90 AND 90),
  longitude   double precision CONSTRAINT sites_longitude_guard CHECK (longitude BETWEEN -180 AND 180),
  country     text NOT NULL DEFAULT '' CONSTRAINT sites_country_guard CHECK (country ~ '^([A-Z]{2})?$'),
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL
);

CALL holt_guard('sites', 'Parks and collections.', '{
  "id": "Identifier (UUIDv7).",
  "code": "Three capital letters.",
  "name": "Name as people say it.",
  "time_zone": "IANA time zone: the zone of the site''s days.",
  "licence": "Reference of the licence under which it keeps animals.",
  "latitude": "Degrees, north positive.",
  "longitude": "Degrees, east positive.",
  "country": "Country: two letters of ISO 3166-1; empty where not stated.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
-- The directory of sites is open to everyone who is signed in: a registrar must find the other site.
CREATE POLICY read ON sites FOR SELECT USING ((SELECT holt_inside()));
CREATE POLICY record ON sites FOR INSERT WITH CHECK ((SELECT holt_everywhere()));

CREATE TABLE enclosures (
  id          uuid PRIMARY KEY,
  site_id     uuid NOT NULL REFERENCES sites,
  name        text NOT NULL CONSTRAINT enclosures_name_guard CHECK (name <> ''),
  kind        text NOT NULL CONSTRAINT enclosures_kind_guard CHECK (kind IN ('indoor', 'outdoor', 'mixed')),
  capacity    integer NOT NULL CONSTRAINT enclosures_capacity_guard CHECK (capacity >= 0),
  recorded_at timestamptz NOT NULL,
  recorded_by uuid NOT NULL,
  request_id  uuid NOT NULL,
  -- For the foreign key that keeps a placement at its own site.
  CONSTRAINT enclosures_site_id_id_key UNIQUE (site_id, id)
);
CREATE UNIQUE INDEX enclosures_site_name_key ON enclosures (site_id, lower(name));

CALL holt_guard('enclosures', 'Places at a site where animals live.', '{
  "id": "Identifier (UUIDv7).",
  "site_id": "The site.",
  "name": "Name, unique at the site in any case.",
  "kind": "indoor, outdoor or mixed.",
  "capacity": "Animals it is meant for at most; 0 where not stated.",
  "recorded_at": "When it was recorded.",
  "recorded_by": "Who recorded it.",
  "request_id": "The write that recorded it."
}');
CREATE POLICY read ON enclosures FOR SELECT
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
CREATE POLICY record ON enclosures FOR INSERT
  WITH CHECK (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
