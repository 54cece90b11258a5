-- +goose Up
-- Openings are recurrence rules (RFC 5545) in the lab's local time, with
-- closures and extra days; sessions know the day of the opening that they are of.
ALTER TABLE openings
    ADD COLUMN rule text CHECK (length(rule) BETWEEN 1 AND 300),
    ADD COLUMN first_day date,                  -- from which the rule counts
    ADD COLUMN kind text NOT NULL DEFAULT 'attended' CHECK (kind IN ('attended', 'self_service')),
    ALTER COLUMN operator_id DROP NOT NULL,
    ADD CONSTRAINT openings_attended CHECK ((kind = 'attended') = (operator_id IS NOT NULL));
-- A weekly opening held for any week; the week before the lab began is before all its sessions.
UPDATE openings o SET
    rule = 'FREQ=WEEKLY;BYDAY=' || (ARRAY['MO', 'TU', 'WE', 'TH', 'FR', 'SA', 'SU'])[o.weekday],
    first_day = date_trunc('week', l.created_at AT TIME ZONE 'UTC')::date - 7 + (o.weekday - 1)
    FROM labs l WHERE l.id = o.lab_id;
ALTER TABLE openings
    ALTER COLUMN rule SET NOT NULL,
    ALTER COLUMN first_day SET NOT NULL,
    DROP COLUMN weekday;

-- A span of the lab's days on which no opening of a tank, or of any, holds.
CREATE TABLE closures (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    from_day date NOT NULL,
    until_day date NOT NULL,                    -- the last day of it
    tank_id text COLLATE "C",                   -- null: the lab
    opening_id text COLLATE "C",                -- null: every opening
    reason text NOT NULL CHECK (length(reason) BETWEEN 1 AND 200),
    made_by text COLLATE "C" NOT NULL,
    made_at timestamptz NOT NULL,
    CONSTRAINT closures_pkey PRIMARY KEY (lab_id, id),
    CONSTRAINT closures_tank FOREIGN KEY (lab_id, tank_id) REFERENCES tanks,
    CONSTRAINT closures_opening FOREIGN KEY (lab_id, opening_id) REFERENCES openings ON DELETE CASCADE,
    CONSTRAINT closures_maker FOREIGN KEY (lab_id, made_by) REFERENCES members,
    CONSTRAINT closures_days CHECK (from_day <= until_day AND until_day - from_day <= 366),
    CONSTRAINT closures_of_one CHECK (num_nonnulls(tank_id, opening_id) <= 1)
);
CREATE INDEX closures_by_end ON closures (lab_id, until_day);

-- A day on which an opening holds beside its rule, or at another time than by it.
CREATE TABLE extra_days (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    opening_id text COLLATE "C" NOT NULL,
    day date NOT NULL,
    starts time,                                -- null: as the opening
    lasts_s bigint CHECK (lasts_s BETWEEN 60 AND 86400),    -- null: as the opening
    reason text NOT NULL CHECK (length(reason) <= 200),
    made_by text COLLATE "C" NOT NULL,
    made_at timestamptz NOT NULL,
    CONSTRAINT extra_days_pkey PRIMARY KEY (lab_id, id),
    CONSTRAINT extra_days_opening FOREIGN KEY (lab_id, opening_id) REFERENCES openings ON DELETE CASCADE,
    CONSTRAINT extra_days_maker FOREIGN KEY (lab_id, made_by) REFERENCES members,
    CONSTRAINT extra_days_once UNIQUE (lab_id, opening_id, day)
);

-- How a lab's calendar is kept; a lab without a row keeps it as the defaults are.
CREATE TABLE calendars (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    days_ahead int NOT NULL DEFAULT 0 CHECK (days_ahead BETWEEN 0 AND 366),
    skipped_hour text NOT NULL DEFAULT 'move' CHECK (skipped_hour IN ('move', 'drop')),
    opened datemultirange NOT NULL DEFAULT '{}',    -- the days whose sessions have been made
    version bigint NOT NULL DEFAULT 1,
    CONSTRAINT calendars_pkey PRIMARY KEY (lab_id)
);

ALTER TABLE sessions
    ADD COLUMN occurs_on date,                  -- the day of its opening that it is of
    -- Row security holds operators back that could give rows away, such as those
    -- of ranges, from indexes; plain instants are found by theirs.
    ADD COLUMN starts_at timestamptz NOT NULL GENERATED ALWAYS AS (lower(during)) STORED,
    ADD COLUMN ends_at timestamptz NOT NULL GENERATED ALWAYS AS (upper(during)) STORED,
    ADD COLUMN by_calendar boolean NOT NULL DEFAULT false,  -- called off by its opening or a closure, not by hand
    ADD CONSTRAINT sessions_by_calendar CHECK (NOT by_calendar OR cancelled_at IS NOT NULL);
-- A week opened twice around a cancellation has made two of one day: the one that stands, or the newest, is the one.
UPDATE sessions e SET occurs_on = d.day FROM (
    SELECT DISTINCT ON (s.lab_id, s.opening_id, day) s.lab_id, s.id, (lower(s.during) AT TIME ZONE coalesce(z.name, 'UTC'))::date AS day
    FROM sessions s JOIN labs l ON l.id = s.lab_id LEFT JOIN pg_timezone_names z ON z.name = l.time_zone
    WHERE s.opening_id IS NOT NULL
    ORDER BY s.lab_id, s.opening_id, day, (s.cancelled_at IS NOT NULL), s.id DESC) d
    WHERE d.lab_id = e.lab_id AND d.id = e.id;
DROP INDEX sessions_by_time;
CREATE INDEX sessions_by_start ON sessions (lab_id, starts_at, id);
CREATE INDEX runs_by_end ON runs (lab_id, ended_at);
-- An occurrence has one session, however often it is made.
CREATE UNIQUE INDEX sessions_one_occurrence ON sessions (lab_id, opening_id, occurs_on) WHERE occurs_on IS NOT NULL;
INSERT INTO calendars (lab_id, opened)
    SELECT lab_id, range_agg(daterange(date_trunc('week', occurs_on)::date, date_trunc('week', occurs_on)::date + 7))
    FROM sessions WHERE occurs_on IS NOT NULL GROUP BY lab_id;

SELECT guard_lab('closures'), guard_lab('extra_days'), guard_lab('calendars');

-- +goose Down
-- The tables of before know weekly openings with an operator alone: of a rule
-- with several weekdays each becomes one, and what is no such rule goes.
DROP INDEX runs_by_end;
CREATE INDEX sessions_by_time ON sessions (lab_id, lower(during), id);
ALTER TABLE sessions
    DROP CONSTRAINT sessions_by_calendar,
    DROP COLUMN starts_at,
    DROP COLUMN ends_at,
    DROP COLUMN by_calendar,
    DROP COLUMN occurs_on;
DROP TABLE calendars, extra_days, closures;
ALTER TABLE openings ADD COLUMN weekday int;
INSERT INTO openings (lab_id, id, tank_id, operator_id, weekday, starts, lasts_s, processes, rule, first_day)
    SELECT o.lab_id, new_id('opening', now()), o.tank_id, o.operator_id,
        array_position(ARRAY['MO', 'TU', 'WE', 'TH', 'FR', 'SA', 'SU'], d), o.starts, o.lasts_s, o.processes, '-', o.first_day
    FROM openings o, unnest(string_to_array(split_part(o.rule, 'BYDAY=', 2), ',')) d
    WHERE o.rule ~ '^FREQ=WEEKLY;BYDAY=[A-Z,]+$' AND o.kind = 'attended';
DELETE FROM openings WHERE weekday IS NULL;
ALTER TABLE openings
    DROP CONSTRAINT openings_attended,
    DROP COLUMN kind,
    DROP COLUMN rule,
    DROP COLUMN first_day,
    ALTER COLUMN operator_id SET NOT NULL,
    ALTER COLUMN weekday SET NOT NULL,
    ADD CONSTRAINT openings_weekday_check CHECK (weekday BETWEEN 1 AND 7);
