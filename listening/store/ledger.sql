-- The ledger of a server: rows hang together by SHA-256, computed here as in chain.py.

CREATE OR REPLACE FUNCTION ledger_mark(p_sitting text) RETURNS text
LANGUAGE sql IMMUTABLE SET search_path = pg_catalog, pg_temp
AS $$ SELECT encode(sha256(convert_to(p_sitting, 'UTF8')), 'hex') $$;

-- One row at a time: the lock is the last one that any function takes, so that none waits for another in a ring.
CREATE OR REPLACE FUNCTION ledger_write(p_at text, p_kind text, p_sitting text, p_detail text) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE last ledger%ROWTYPE; place integer;
BEGIN
    LOCK TABLE ledger IN SHARE ROW EXCLUSIVE MODE;
    SELECT * INTO last FROM ledger ORDER BY n DESC LIMIT 1;
    place := coalesce(last.n, 0) + 1;
    INSERT INTO ledger (n, at, kind, sitting, detail, chain) VALUES (place, p_at, p_kind, p_sitting, p_detail,
        ledger_mark(concat_ws(chr(10), coalesce(last.chain, ''), place::text, p_at, p_kind, p_sitting, p_detail)));
END $$;

CREATE OR REPLACE FUNCTION ledger_began(p_sitting text) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE s sitting%ROWTYPE;
BEGIN
    SELECT * INTO s FROM sitting WHERE id = p_sitting;
    PERFORM ledger_write(s.started_at, 'began', ledger_mark(s.id), 'slot ' || s.slot || ' row ' || ledger_mark(
        concat_ws(chr(10), s.id, s.listener, s.slot::text, (s.simulated::integer)::text, s.study_digest, s.started_at,
                  s.site)));
END $$;

REVOKE ALL ON FUNCTION ledger_mark(text), ledger_write(text, text, text, text), ledger_began(text) FROM PUBLIC;
