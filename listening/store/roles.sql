-- Three roles without login, and what each may do in this database. Grant them to your own login users:
--   CREATE ROLE booth_1 LOGIN; GRANT listening_booth TO booth_1;   (passwords: your own rules, pg_hba.conf, TLS)
-- Needs a user who may create roles; run again at any time, it changes nothing that is right already.

DO $$
DECLARE wanted text;
BEGIN
    FOREACH wanted IN ARRAY ARRAY['listening_booth', 'listening_desk', 'listening_analyst'] LOOP
        IF NOT EXISTS (SELECT 1 FROM pg_roles WHERE rolname = wanted) THEN
            EXECUTE format('CREATE ROLE %I NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE', wanted);
        END IF;
    END LOOP;
END $$;

REVOKE ALL ON SCHEMA public FROM PUBLIC;
REVOKE ALL ON ALL TABLES IN SCHEMA public FROM PUBLIC, listening_booth, listening_desk, listening_analyst;
GRANT USAGE ON SCHEMA public TO listening_booth, listening_desk, listening_analyst;

-- booth: its own sitting through functions; not one table.
GRANT EXECUTE ON FUNCTION
    booth_claim(text, text, integer[], text, boolean, text, text, double precision, text),
    booth_hold(text, text, double precision, text), booth_release(text, text, text),
    booth_beat(text, text, text, double precision, text), booth_find(text, text, boolean, text, text),
    booth_slots(boolean), booth_answered(text, text), booth_events(text, text), booth_head(text, text),
    booth_record(jsonb, text), booth_note(text, text, text, text, text, text, integer, text, text) TO listening_booth;

-- desk: who sits, how far they are, and removal after a withdrawal; not what was answered.
GRANT SELECT ON alembic_version, study, slot, sitting, event, ledger TO listening_desk;
GRANT SELECT (sitting, trial, practice) ON answer TO listening_desk;
GRANT SELECT (sitting) ON second_answer TO listening_desk;
GRANT INSERT ON event TO listening_desk;
GRANT EXECUTE ON FUNCTION ledger_write(text, text, text, text) TO listening_desk;
GRANT USAGE ON SEQUENCE event_id_seq TO listening_desk;
GRANT UPDATE (sitting) ON slot TO listening_desk;
GRANT DELETE ON answer, second_answer, event, sitting TO listening_desk;
GRANT UPDATE (holder, held_until) ON sitting TO listening_desk;  -- to hand a sitting over to another booth

-- analyst: reads everything, changes nothing.
GRANT SELECT ON ALL TABLES IN SCHEMA public TO listening_analyst;
