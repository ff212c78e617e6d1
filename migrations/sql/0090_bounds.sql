-- Invariant: whatever way a row came, every page can read it and show it: days and instants are of the years 1800 to
-- 2199, numbers are finite, texts have an end and nothing in them that does not show.

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
     WHERE c.relnamespace = current_schema::regnamespace AND c.relkind IN ('r', 'p') AND NOT c.relispartition
       AND c.relname NOT LIKE '\_sqlx%'
     ORDER BY c.relname, a.attnum
  LOOP
    bound := CASE it.type
      WHEN 'date' THEN $bound$%1$I BETWEEN '1800-01-01' AND '2199-12-31'$bound$
      -- A day of any zone is within a day of its own.
      WHEN 'timestamp with time zone' THEN
        $bound$%1$I BETWEEN '1799-12-31 00:00:00Z' AND '2200-01-02 00:00:00Z'$bound$
      -- NaN is above every number.
      WHEN 'double precision' THEN $bound$%1$I BETWEEN -1e9 AND 1e9$bound$
      WHEN 'text' THEN
        $bound$octet_length(%1$I) <= 1000000 AND %1$I !~ '[\u0001-\u0008\u000B\u000C\u000E-\u001F\u007F-\u009F\u061C\u200B-\u200F\u2028-\u202E\u2060-\u206F\uFEFF]'$bound$
    END;
    CONTINUE WHEN bound IS NULL;
    EXECUTE format('ALTER TABLE %I ADD CONSTRAINT %I CHECK (', it.of, left(it.of || '_' || it.name, 48) || '_bounds_guard')
            || format(bound, it.name) || ')';
  END LOOP;
END
$$;
