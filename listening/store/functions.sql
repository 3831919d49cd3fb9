-- What a booth may do, and nothing more: each function acts on one sitting whose id (128 bit) the caller must know,
-- and only for the booth that claimed it: it shows a token (128 bit) that lies in its spool alone; here lies its hash.
-- All run with their owner's rights; nobody may call them until roles.sql says so. The columns are filled in by
-- functions.py from tables.py.

-- as they were before booths had tokens
DROP FUNCTION IF EXISTS booth_claim(text, text, integer[], text, boolean, text, text, double precision);
DROP FUNCTION IF EXISTS booth_hold(text, text, double precision);
DROP FUNCTION IF EXISTS booth_release(text, text);
DROP FUNCTION IF EXISTS booth_beat(text, text, text, double precision);
DROP FUNCTION IF EXISTS booth_find(text, text, boolean, text);
DROP FUNCTION IF EXISTS booth_answered(text);
DROP FUNCTION IF EXISTS booth_events(text);
DROP FUNCTION IF EXISTS booth_record(jsonb);
DROP FUNCTION IF EXISTS booth_note(text, text, text, text, text, text, integer, text);
DROP FUNCTION IF EXISTS booth_head(text);
DROP FUNCTION IF EXISTS is_own(text);

CREATE OR REPLACE FUNCTION server_s() RETURNS double precision
LANGUAGE sql VOLATILE SET search_path = pg_catalog, pg_temp
AS $$ SELECT extract(epoch FROM clock_timestamp())::double precision $$;

-- Who holds a sitting: login / hash of the booth's token / process / hashes of booths that had it before the desk
-- handed it over, between commas. Handed over and not yet taken up: the first three are empty, or all is null.
CREATE OR REPLACE FUNCTION booth_mine(p_token text) RETURNS text
LANGUAGE sql STABLE SET search_path = public, pg_temp
AS $$ SELECT session_user || '/' || CASE WHEN p_token IS NULL THEN '' ELSE ledger_mark(p_token) END || '/' $$;

CREATE OR REPLACE FUNCTION marks_before(p_holder text) RETURNS text
LANGUAGE sql IMMUTABLE SET search_path = pg_catalog, pg_temp
AS $$ SELECT CASE WHEN p_holder LIKE '%/%/%/%' THEN substring(p_holder FROM '[^/]*$') ELSE '' END $$;

CREATE OR REPLACE FUNCTION is_free(p_holder text) RETURNS boolean
LANGUAGE sql IMMUTABLE SET search_path = pg_catalog, pg_temp
AS $$ SELECT p_holder IS NULL OR starts_with(p_holder, '/') $$;

-- Whether a sitting may be taken up by this booth: begun by it, or handed over by the desk. Of an earlier version
-- (login / process) only the login is known.
CREATE OR REPLACE FUNCTION is_own(p_holder text, p_token text) RETURNS boolean
LANGUAGE sql STABLE SET search_path = public, pg_temp
AS $$ SELECT is_free(p_holder) OR starts_with(p_holder, booth_mine(p_token))
    OR (p_holder NOT LIKE '%/%/%' AND starts_with(p_holder, session_user || '/')) $$;

-- Whether this booth may write to it: its own, or its own before the desk handed it over: what it took down counts.
CREATE OR REPLACE FUNCTION may_write(p_holder text, p_token text) RETURNS boolean
LANGUAGE sql STABLE SET search_path = public, pg_temp
AS $$ SELECT p_holder IS NULL OR (is_own(p_holder, p_token) AND NOT is_free(p_holder))
    OR (p_token IS NOT NULL AND ledger_mark(p_token) = ANY (string_to_array(marks_before(p_holder), ','))) $$;

-- Whether another process, of this booth or another, has it open now.
CREATE OR REPLACE FUNCTION is_open_elsewhere(p_holder text, p_held_until double precision, p_token text, p_process text)
RETURNS boolean LANGUAGE sql VOLATILE SET search_path = public, pg_temp
AS $$ SELECT NOT is_free(p_holder) AND coalesce(p_held_until >= server_s(), false)
    AND NOT starts_with(p_holder, booth_mine(p_token) || p_process || '/') $$;

-- The first free slot of p_slots, in their order; null: none. A slot comes back when its sitting's lease ran out
-- before any answer. Asked again with the same id, it tells the slot given before.
CREATE OR REPLACE FUNCTION booth_claim(p_sitting text, p_listener text, p_slots integer[], p_study text,
    p_simulated boolean, p_started_at text, p_holder text, p_lease_s double precision, p_token text) RETURNS integer
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE given integer; had text;
BEGIN
    PERFORM must(p_token IS NULL OR p_token ~ '^[0-9a-f]{32}$', 'token');
    PERFORM must(is_id(p_sitting), 'sitting');
    PERFORM must(p_listener ~ '^{code}$', 'listener');
    PERFORM must(is_id(p_study), 'study');
    PERFORM must(is_id(p_holder), 'holder');
    PERFORM must(is_time(p_started_at), 'started_at');
    PERFORM must(p_simulated IS NOT NULL, 'simulated');
    PERFORM must(cardinality(p_slots) BETWEEN 1 AND {most_slots}, 'slots');
    PERFORM must(array_position(p_slots, NULL) IS NULL, 'slots');
    SELECT t.slot, t.holder INTO given, had FROM sitting t WHERE t.id = p_sitting;
    IF FOUND THEN
        PERFORM must(may_write(had, p_token), 'sitting');
        RETURN given;
    END IF;
    IF EXISTS (SELECT 1 FROM study) AND NOT EXISTS (SELECT 1 FROM study s WHERE s.study_digest = p_study) THEN
        RAISE EXCEPTION 'another study is published on this server' USING ERRCODE = 'LT001';
    END IF;
    IF (SELECT count(*) FROM sitting t WHERE t.holder LIKE replace(session_user, '_', '\_') || '/%'
            AND t.finished_at IS NULL AND t.held_until >= server_s()) >= {most_held} THEN
        RAISE EXCEPTION 'too many open at once' USING ERRCODE = 'LT005';
    END IF;
    SELECT s.slot INTO given FROM slot s LEFT JOIN sitting t ON t.id = s.sitting
    WHERE s.simulated = p_simulated AND s.slot = ANY (p_slots)
      AND (s.sitting IS NULL OR (t.finished_at IS NULL AND t.held_until < server_s()
           AND NOT EXISTS (SELECT 1 FROM answer a WHERE a.sitting = s.sitting AND NOT a.practice)))
    ORDER BY array_position(p_slots, s.slot)
    LIMIT 1 FOR UPDATE OF s SKIP LOCKED;
    IF NOT FOUND THEN RETURN NULL; END IF;
    INSERT INTO sitting (id, listener, slot, simulated, study_digest, started_at, holder, held_until)
    VALUES (p_sitting, p_listener, given, p_simulated, p_study, p_started_at,
            booth_mine(p_token) || p_holder || '/', server_s() + lease_s(p_lease_s));
    UPDATE slot SET sitting = p_sitting WHERE slot.slot = given AND slot.simulated = p_simulated;
    PERFORM ledger_began(p_sitting);
    RETURN given;
END $$;

-- The lease on a sitting for p_holder; false: another process has it.
CREATE OR REPLACE FUNCTION booth_hold(p_sitting text, p_holder text, p_lease_s double precision, p_token text)
RETURNS boolean LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM must(is_id(p_holder), 'holder');
    UPDATE sitting SET holder = booth_mine(p_token) || p_holder || '/' || marks_before(holder),
        held_until = server_s() + lease_s(p_lease_s)
    WHERE id = p_sitting AND is_own(holder, p_token)
      AND NOT is_open_elsewhere(holder, held_until, p_token, p_holder);
    RETURN FOUND;
END $$;

CREATE OR REPLACE FUNCTION booth_release(p_sitting text, p_holder text, p_token text) RETURNS void
LANGUAGE sql SECURITY DEFINER SET search_path = public, pg_temp AS $$
    UPDATE sitting SET holder = booth_mine(p_token) || '/' || marks_before(holder), held_until = 0
    WHERE id = p_sitting AND is_id(p_holder) AND starts_with(holder, booth_mine(p_token) || p_holder || '/') $$;

CREATE OR REPLACE FUNCTION booth_beat(p_sitting text, p_holder text, p_at text, p_lease_s double precision, p_token text)
RETURNS void LANGUAGE sql SECURITY DEFINER SET search_path = public, pg_temp AS $$
    UPDATE sitting SET heartbeat_at = server_at(), held_until = server_s() + lease_s(p_lease_s)
    WHERE id = p_sitting AND is_id(p_holder) AND starts_with(holder, booth_mine(p_token) || p_holder || '/') $$;

-- A sitting by its id, which only the booth that made it knows, or by its listener's code, which the listener brings;
-- never by its slot: slots can be counted through. Of a finished sitting no id is told.
DROP FUNCTION IF EXISTS booth_find(text, integer, boolean, text);
CREATE OR REPLACE FUNCTION booth_find(p_listener text, p_sitting text, p_simulated boolean, p_holder text, p_token text)
RETURNS TABLE (id text, listener text, slot integer, simulated boolean, study_digest text, started_at text,
    finished_at text, heartbeat_at text)
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE mine sitting%ROWTYPE;
BEGIN
    SELECT * INTO mine FROM sitting t
    WHERE t.simulated = p_simulated AND (t.listener = p_listener
        OR (t.id = p_sitting AND EXISTS (SELECT 1 FROM slot s WHERE s.sitting = t.id))) LIMIT 1;
    IF NOT FOUND THEN RETURN; END IF;
    IF is_open_elsewhere(mine.holder, mine.held_until, p_token, p_holder) THEN
        RAISE EXCEPTION 'open in another booth' USING ERRCODE = 'LT002';
    END IF;
    IF NOT is_own(mine.holder, p_token) THEN
        RAISE EXCEPTION 'begun at another booth' USING ERRCODE = 'LT004';
    END IF;
    RETURN QUERY SELECT CASE WHEN mine.finished_at IS NULL THEN mine.id ELSE '' END, mine.listener, mine.slot,
        mine.simulated, mine.study_digest, mine.started_at, mine.finished_at, mine.heartbeat_at;
END $$;

-- Which slots were given and when their sittings were last alive: neither ids nor listeners.
CREATE OR REPLACE FUNCTION booth_slots(p_simulated boolean)
RETURNS TABLE (slot integer, finished boolean, alive_at text)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT t.slot, t.finished_at IS NOT NULL, least(coalesce(t.heartbeat_at, t.started_at), server_at()) FROM sitting t
    WHERE t.simulated = p_simulated ORDER BY t.started_at $$;

-- Which trials of one sitting are answered: never what was answered.
CREATE OR REPLACE FUNCTION booth_answered(p_sitting text, p_token text) RETURNS TABLE (trial text, practice boolean)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT a.trial, a.practice FROM answer a JOIN sitting t ON t.id = a.sitting
    WHERE a.sitting = p_sitting AND is_own(t.holder, p_token) ORDER BY a.id $$;

CREATE OR REPLACE FUNCTION booth_events(p_sitting text, p_token text)
RETURNS TABLE (sitting text, at text, kind text, trial text, detail text)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT e.sitting, e.at, e.kind, e.trial, e.detail FROM event e JOIN sitting t ON t.id = e.sitting
    WHERE e.sitting = p_sitting AND is_own(t.holder, p_token) ORDER BY e.id $$;

-- Where a sitting's chain ends at the server; a booth that takes the sitting up goes on from there.
CREATE OR REPLACE FUNCTION booth_head(p_sitting text, p_token text) RETURNS TABLE (links integer, head text)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT s.links, s.head FROM sitting s WHERE s.id = p_sitting AND is_own(s.holder, p_token) $$;

-- stored; again: the same answer was here; gone: the sitting was withdrawn; other: the trial has another answer, so this
-- one is kept apart, where neither booth nor desk reads it, and the event tells that it came but not what it says.
CREATE OR REPLACE FUNCTION booth_record(p_answer jsonb, p_token text) RETURNS text
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE had text;
BEGIN
    PERFORM must_be_answer(p_answer);
    SELECT t.holder INTO had FROM sitting t WHERE t.id = p_answer ->> 'sitting' FOR KEY SHARE;
    IF NOT FOUND THEN RETURN 'gone'; END IF;
    PERFORM must(may_write(had, p_token), 'sitting');
    PERFORM must((SELECT count(*) FROM (SELECT FROM answer a WHERE a.sitting = p_answer ->> 'sitting'
        UNION ALL SELECT FROM second_answer b WHERE b.sitting = p_answer ->> 'sitting' LIMIT {most_rows}) few) < {most_rows},
        'so many answers');
    INSERT INTO answer ({columns}) SELECT {columns} FROM jsonb_populate_record(NULL::answer, p_answer)
    ON CONFLICT (sitting, trial) DO NOTHING;
    IF FOUND THEN
        UPDATE sitting SET links = (p_answer ->> 'link')::integer, head = p_answer ->> 'chain'
        WHERE id = p_answer ->> 'sitting' AND links < (p_answer ->> 'link')::integer;
        RETURN 'stored';
    END IF;
    IF EXISTS (SELECT 1 FROM answer a, jsonb_populate_record(NULL::answer, p_answer) n
               WHERE a.sitting = n.sitting AND a.trial = n.trial
                 AND ({a_columns}) IS NOT DISTINCT FROM ({n_columns})) THEN
        RETURN 'again';
    END IF;
    INSERT INTO second_answer (sitting, trial, body, ref)
    VALUES (p_answer ->> 'sitting', p_answer ->> 'trial', p_answer - 'ref', p_answer ->> 'ref')
    ON CONFLICT (ref) DO NOTHING;
    IF FOUND THEN
        INSERT INTO event (sitting, at, kind, trial, detail)
        VALUES (p_answer ->> 'sitting', p_answer ->> 'answered_at', 'second answer', p_answer ->> 'trial', '');
    END IF;
    RETURN 'other';
END $$;

-- An event counts once, however often the booth sends it; `finished` also closes the sitting.
DROP FUNCTION IF EXISTS booth_note(text, text, text, text, text, text);
CREATE OR REPLACE FUNCTION booth_note(p_sitting text, p_ref text, p_at text, p_kind text, p_trial text,
    p_detail text, p_link integer, p_chain text, p_token text) RETURNS text
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE was_closed boolean; reached text; had text;
BEGIN
    PERFORM must(is_id(p_ref), 'ref');
    PERFORM must(is_time(p_at), 'at');
    PERFORM must(p_kind = ANY ('{kinds}'::text[]), 'kind');
    PERFORM must(p_trial IS NULL OR is_name(p_trial), 'trial');
    PERFORM must(p_detail IS NOT NULL AND length(p_detail) <= {longest_detail}
        AND translate(p_detail, chr(10) || chr(9), '') !~ '{control}', 'detail');
    PERFORM must(coalesce(p_link, 0) BETWEEN 0 AND 10000000 AND is_id(coalesce(p_chain, 'x')), 'link');
    SELECT finished_at IS NOT NULL, holder INTO was_closed, had FROM sitting WHERE id = p_sitting FOR UPDATE;
    IF NOT FOUND THEN RETURN 'gone'; END IF;
    PERFORM must(may_write(had, p_token), 'sitting');
    PERFORM must((SELECT count(*) FROM (SELECT FROM event e WHERE e.sitting = p_sitting LIMIT {most_rows}) few) < {most_rows},
        'so many events');
    UPDATE sitting SET heartbeat_at = server_at(),
        finished_at = CASE WHEN p_kind = 'closed' THEN p_at ELSE finished_at END WHERE id = p_sitting;
    IF p_kind = 'closed' THEN
        IF NOT was_closed THEN
            SELECT head INTO reached FROM sitting WHERE id = p_sitting;
            PERFORM ledger_write(p_at, 'finished', ledger_mark(p_sitting), reached);
        END IF;
        RETURN 'stored';
    END IF;
    INSERT INTO event (sitting, at, kind, trial, detail, ref, link, chain)
    VALUES (p_sitting, p_at, p_kind, p_trial, p_detail, p_ref, p_link, p_chain) ON CONFLICT (ref) DO NOTHING;
    UPDATE sitting SET links = p_link, head = p_chain WHERE id = p_sitting AND links < p_link;
    RETURN 'stored';
END $$;

REVOKE ALL ON FUNCTION server_s(), booth_mine(text), marks_before(text), is_free(text), is_own(text, text),
    may_write(text, text), is_open_elsewhere(text, double precision, text, text),
    booth_claim(text, text, integer[], text, boolean, text, text, double precision, text),
    booth_hold(text, text, double precision, text), booth_release(text, text, text),
    booth_beat(text, text, text, double precision, text), booth_find(text, text, boolean, text, text),
    booth_slots(boolean), booth_answered(text, text), booth_events(text, text), booth_head(text, text),
    booth_record(jsonb, text), booth_note(text, text, text, text, text, text, integer, text, text) FROM PUBLIC;
