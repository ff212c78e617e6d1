-- Invariant: whatever way a row came, every page can read it and show it: days and instants are of the years 1800 to
-- 2199, numbers are finite and have room to be added up, texts end and hold nothing that does not show.

-- Whether a text is as people write it: one form of Unicode (NFC), no control, nothing that does not show or turns the
-- direction of what stands around it. The same characters as in `notation/text.rs`.
CREATE FUNCTION holt_shows(said text) RETURNS boolean LANGUAGE sql IMMUTABLE PARALLEL SAFE
  RETURN said IS NFC NORMALIZED AND said !~
    '[\u0001-\u0008\u000B\u000C\u000E-\u001F\u007F-\u009F\u00AD\u034F\u061C\u115F\u1160\u17B4\u17B5\u180B-\u180E\u200B-\u200F\u2028-\u202E\u2060-\u206F\u3164\uFEFF\uFFA0\uFFF0-\uFFFB\uFFFE\uFFFF\U0001BCA0-\U0001BCA3\U0001D173-\U0001D17A\U000E0000-\U000E00FF\U000E01F0-\U000E0FFF]';

-- The last guard for what `api/decode.rs` asks at the entrance. It runs last, over every table that there is.
DO $$
DECLARE
  it record;
  bound text;
BEGIN
  FOR it IN
    SELECT c.relname AS of, a.attname AS name, format_type(a.atttypid, NULL) AS type
      FROM pg_class c
      JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped AND a.attgenerated = ''
     WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND NOT c.relispartition
       AND c.relname NOT LIKE '\_sqlx%'
       -- Holt's own: digests, replies that say again what other columns hold, and what is worked out from them.
       AND (c.relname, a.attname) NOT IN (('ledger', 'lines'), ('requests', 'reply'), ('weight_kinds', 'state'),
                                          ('weight_states', 'state'), ('weight_states', 'lessons'))
     ORDER BY c.relname, a.attnum
  LOOP
    bound := CASE it.type
      -- The day of an instant, in whatever zone, is within a day of it; and its ends within a day of that day.
      WHEN 'date' THEN $bound$%1$I BETWEEN '1799-12-31' AND '2200-01-01'$bound$
      WHEN 'timestamp with time zone' THEN
        $bound$%1$I BETWEEN '1799-12-30 00:00:00Z' AND '2200-01-03 00:00:00Z'$bound$
      -- NaN is above every number.
      WHEN 'double precision' THEN $bound$%1$I BETWEEN -1e9 AND 1e9$bound$
      WHEN 'timestamp with time zone[]' THEN
        $bound$'1799-12-30 00:00:00Z' <= ALL (%1$I) AND '2200-01-03 00:00:00Z' >= ALL (%1$I)$bound$
      WHEN 'double precision[]' THEN $bound$-1e9 <= ALL (%1$I) AND 1e9 >= ALL (%1$I)$bound$
      -- So that the next one, and the sum of many, is still a number of the type.
      WHEN 'integer' THEN $bound$%1$I BETWEEN -1000000000 AND 1000000000$bound$
      WHEN 'bigint' THEN $bound$%1$I BETWEEN -1000000000000000 AND 1000000000000000$bound$
      WHEN 'text' THEN $bound$octet_length(%1$I) <= 1000000 AND holt_shows(%1$I)$bound$
      -- In the text of a document a control character is written as an escape.
      WHEN 'jsonb' THEN
        $bound$octet_length(%1$I::text) <= 1000000 AND holt_shows(%1$I::text)
          AND %1$I::text !~ '(^|[^\\])(\\\\)*\\(b|f|u0)'$bound$
    END;
    CONTINUE WHEN bound IS NULL;
    EXECUTE format('ALTER TABLE %I ADD CONSTRAINT %I CHECK (', it.of, left(it.of || '_' || it.name, 48) || '_bounds_guard')
            || format(bound, it.name) || ')';
  END LOOP;
END
$$;
