-- Invariant: an entry of the ledger gets its place in the tree once, when it is sealed; a seal is never
-- changed, and names the one before it.

CREATE TABLE leaves (
  entry_id      uuid PRIMARY KEY REFERENCES ledger,
  site_id       uuid REFERENCES sites,
  recorded_at   timestamptz NOT NULL,
  leaf          bytea NOT NULL CONSTRAINT leaves_leaf_guard CHECK (octet_length(leaf) = 32),
  position      bigint CONSTRAINT leaves_position_key UNIQUE,
  site_position bigint,
  CONSTRAINT leaves_places_guard
    CHECK ((site_position IS NULL) = (position IS NULL OR site_id IS NULL))
);
CREATE INDEX leaves_site_id_idx ON leaves (site_id, site_position);
-- What is not sealed yet: few, however many are.
CREATE INDEX leaves_unsealed_idx ON leaves (recorded_at, entry_id) WHERE position IS NULL;
CALL holt_guard('leaves', 'The leaves of the sealed tree: one for each entry of the ledger, written with it.', '{
  "entry_id": "The entry.",
  "site_id": "The site of the entry, in whose own tree it is a leaf too.",
  "recorded_at": "When the entry was recorded: leaves are sealed in this order.",
  "leaf": "RFC 6962 leaf hash of the entry.",
  "position": "Place in the tree over all entries, from 0; null until it is sealed.",
  "site_position": "Place in the tree of its site, from 0."
}');
GRANT UPDATE (position, site_position) ON leaves TO holt_service;
CREATE FUNCTION holt_seal_once() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF OLD.position IS NOT NULL THEN
    RAISE EXCEPTION 'entry % has its place in the tree already', OLD.entry_id
      USING ERRCODE = 'serialization_failure';
  END IF;
  RETURN NEW;
END
$$;
CREATE TRIGGER seal_once BEFORE UPDATE ON leaves FOR EACH ROW EXECUTE FUNCTION holt_seal_once();
CREATE POLICY read ON leaves FOR SELECT
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
CREATE POLICY record ON leaves FOR INSERT WITH CHECK (
  (site_id IS NULL AND (SELECT holt_inside())) OR site_id = ANY ((SELECT holt_sites())::uuid[])
  OR (SELECT holt_everywhere()));
CREATE POLICY seal ON leaves FOR UPDATE USING ((SELECT holt_everywhere()));

CREATE TABLE seals (
  sequence  bigint CONSTRAINT seals_pkey PRIMARY KEY,
  size      bigint NOT NULL,
  root      bytea NOT NULL,
  peaks     bytea NOT NULL,
  sites     bytea NOT NULL,
  sealed_at timestamptz NOT NULL,
  previous  bytea NOT NULL,
  digest    bytea NOT NULL,
  CONSTRAINT seals_hashes_guard CHECK (octet_length(root) = 32 AND octet_length(sites) = 32
    AND octet_length(previous) = 32 AND octet_length(digest) = 32 AND octet_length(peaks) % 32 = 0)
);
CALL holt_guard('seals', 'Seals over the ledger: each over all entries up to it, in a chain.', '{
  "sequence": "1 and up; 0 is the seal over nothing.",
  "size": "Entries under it.",
  "root": "RFC 6962 root over them.",
  "peaks": "Roots of the complete subtrees, widest first, from which the tree grows on.",
  "sites": "RFC 6962 root over size and root of the tree of each site.",
  "sealed_at": "When it was made.",
  "previous": "Digest of the seal before it.",
  "digest": "SHA-256 over the other values, but for the peaks."
}');
-- Hashes and counts of the whole, and nothing of what stands under them.
CREATE POLICY read ON seals FOR SELECT USING ((SELECT holt_inside()));
CREATE POLICY record ON seals FOR INSERT WITH CHECK ((SELECT holt_everywhere()));

CREATE TABLE site_seals (
  site_id  uuid NOT NULL REFERENCES sites,
  sequence bigint NOT NULL REFERENCES seals,
  size     bigint NOT NULL,
  root     bytea NOT NULL,
  peaks    bytea NOT NULL,
  CONSTRAINT site_seals_pkey PRIMARY KEY (site_id, sequence),
  CONSTRAINT site_seals_hashes_guard CHECK (octet_length(root) = 32 AND octet_length(peaks) % 32 = 0)
);
CREATE INDEX site_seals_sequence_idx ON site_seals (sequence);
CALL holt_guard('site_seals', 'The tree of each site, where a seal found it grown.', '{
  "site_id": "The site.",
  "sequence": "The seal.",
  "size": "Entries of the site under it.",
  "root": "RFC 6962 root over them.",
  "peaks": "Roots of the complete subtrees, widest first."
}');
CREATE POLICY read ON site_seals FOR SELECT
  USING (site_id = ANY ((SELECT holt_sites())::uuid[]) OR (SELECT holt_everywhere()));
CREATE POLICY record ON site_seals FOR INSERT WITH CHECK ((SELECT holt_everywhere()));

INSERT INTO seals (sequence, size, root, peaks, sites, sealed_at, previous, digest)
SELECT 0, 0, nothing, '', nothing, '2000-01-01Z', nothing,
       sha256(convert_to(format(E'holt seal\n0\n0\n%1$s\n%1$s\n2000-01-01T00:00:00.000000Z\n%1$s\n',
                                encode(nothing, 'hex')), 'UTF8'))
  FROM sha256('') AS nothing;
