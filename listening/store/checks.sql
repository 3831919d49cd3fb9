-- What a booth may send: the rules of checked.py once more, where no booth can leave them out. Patterns and kinds are
-- filled in by functions.py from there.

CREATE OR REPLACE FUNCTION server_at() RETURNS text
LANGUAGE sql VOLATILE SET search_path = pg_catalog, pg_temp
AS $$ SELECT to_char(clock_timestamp() AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.MS"+00:00"') $$;

-- Raises LT003 unless the value is what a sitting writes.
CREATE OR REPLACE FUNCTION must(p_fits boolean, p_what text) RETURNS void
LANGUAGE plpgsql IMMUTABLE SET search_path = pg_catalog, pg_temp AS $$
BEGIN
    IF p_fits IS NOT TRUE THEN
        RAISE EXCEPTION 'refused: % is not what a sitting writes', p_what USING ERRCODE = 'LT003';
    END IF;
END $$;

CREATE OR REPLACE FUNCTION is_time(p_at text) RETURNS boolean
LANGUAGE plpgsql STABLE SET search_path = pg_catalog, pg_temp AS $$
BEGIN
    IF p_at IS NULL OR p_at !~ '^20\d\d-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d{1,6})?)?(Z|[+-]\d\d:\d\d)$' THEN
        RETURN false;
    END IF;
    PERFORM p_at::timestamptz;
    RETURN true;
EXCEPTION WHEN OTHERS THEN RETURN false;
END $$;

CREATE OR REPLACE FUNCTION is_name(p_text text) RETURNS boolean
LANGUAGE sql IMMUTABLE SET search_path = pg_catalog, pg_temp
AS $$ SELECT p_text IS NOT NULL AND length(p_text) BETWEEN 1 AND 200 AND p_text !~ '{control}' $$;

CREATE OR REPLACE FUNCTION is_id(p_text text) RETURNS boolean
LANGUAGE sql IMMUTABLE SET search_path = pg_catalog, pg_temp
AS $$ SELECT p_text IS NOT NULL AND p_text ~ '^[A-Za-z0-9_-]{1,64}$' $$;

CREATE OR REPLACE FUNCTION lease_s(p_asked double precision) RETURNS double precision
LANGUAGE sql IMMUTABLE SET search_path = pg_catalog, pg_temp
AS $$ SELECT least(greatest(coalesce(p_asked, 0), 0), {longest_lease_s}) $$;

-- An answer as jsonb, or LT003.
CREATE OR REPLACE FUNCTION must_be_answer(p_answer jsonb) RETURNS void
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE name text;
BEGIN
    PERFORM must(jsonb_typeof(p_answer) = 'object', 'the answer');
    FOREACH name IN ARRAY ARRAY['trial', 'attribute', 'task', 'answer'] LOOP
        PERFORM must(jsonb_typeof(p_answer -> name) = 'string' AND is_name(p_answer ->> name), name);
    END LOOP;
    PERFORM must(is_id(p_answer ->> 'sitting'), 'sitting');
    PERFORM must(is_id(coalesce(p_answer ->> 'ref', 'x')), 'ref');
    PERFORM must(p_answer ->> 'clips' ~ '^{clips}$', 'clips');
    PERFORM must(array_length(string_to_array(p_answer ->> 'clips', ' '), 1)
        = coalesce(('{n_clips}'::jsonb ->> (p_answer ->> 'task'))::integer,
                   array_length(string_to_array(p_answer ->> 'clips', ' '), 1)), 'the number of clips');
    PERFORM must(is_time(p_answer ->> 'answered_at'), 'answered_at');
    PERFORM must(jsonb_typeof(p_answer -> 'practice') = 'boolean', 'practice');
    PERFORM must(jsonb_typeof(p_answer -> 'response_s') = 'number', 'response_s');
    PERFORM must((p_answer ->> 'response_s')::numeric BETWEEN 0 AND {longest_response_s}, 'response_s');
    PERFORM must(jsonb_typeof(p_answer -> 'plays') = 'number', 'plays');
    PERFORM must((p_answer ->> 'plays')::numeric BETWEEN 0 AND {most_plays}, 'plays');
    PERFORM must((p_answer ->> 'plays')::numeric % 1 = 0, 'plays');
    PERFORM must(p_answer -> 'link' IS NULL OR jsonb_typeof(p_answer -> 'link') IN ('null', 'number'), 'link');
    PERFORM must(coalesce((p_answer ->> 'link')::numeric, 0) BETWEEN 0 AND 10000000, 'link');
    PERFORM must(is_id(coalesce(p_answer ->> 'chain', 'x')), 'chain');
END $$;

REVOKE ALL ON FUNCTION server_at(), must(boolean, text), is_time(text), is_name(text), is_id(text),
    lease_s(double precision), must_be_answer(jsonb) FROM PUBLIC;
