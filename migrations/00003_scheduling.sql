-- +goose Up
-- The lab's time: openings, sessions, rolls, bookings, plans, batches, runs.
CREATE TABLE openings (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    tank_id text COLLATE "C" NOT NULL,
    operator_id text COLLATE "C" NOT NULL,
    weekday int NOT NULL CHECK (weekday BETWEEN 1 AND 7),       -- ISO 8601: Monday is 1
    starts time NOT NULL,                       -- the lab's wall clock
    lasts_s bigint NOT NULL CHECK (lasts_s BETWEEN 60 AND 86400),
    processes text[] NOT NULL,                  -- empty: all
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT openings_tank FOREIGN KEY (lab_id, tank_id) REFERENCES tanks,
    CONSTRAINT openings_operator FOREIGN KEY (lab_id, operator_id) REFERENCES members
);

CREATE TABLE sessions (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    tank_id text COLLATE "C" NOT NULL,
    operator_id text COLLATE "C" NOT NULL,
    during tstzrange NOT NULL,
    processes text[] NOT NULL,
    opening_id text COLLATE "C",
    cancelled_at timestamptz,
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT sessions_tank FOREIGN KEY (lab_id, tank_id) REFERENCES tanks,
    CONSTRAINT sessions_operator FOREIGN KEY (lab_id, operator_id) REFERENCES members,
    -- An empty range overlaps nothing and an unbounded one everything: neither is a session.
    CONSTRAINT sessions_during CHECK (
        NOT isempty(during) AND lower_inc(during) AND NOT upper_inc(during)
        AND isfinite(lower(during)) AND isfinite(upper(during))),
    CONSTRAINT sessions_tank_free EXCLUDE USING gist (lab_id WITH =, tank_id WITH =, during WITH &&)
        WHERE (cancelled_at IS NULL)
);
CREATE INDEX sessions_by_time ON sessions (lab_id, lower(during), id);

CREATE TABLE rolls (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    format text COLLATE "C" NOT NULL,
    length_mm bigint NOT NULL CHECK (length_mm > 0),
    process text COLLATE "C" NOT NULL,
    push int NOT NULL,                          -- stops; negative is pull
    developing_s bigint,                        -- black-and-white: the film's own time
    trade_area_mm2 bigint NOT NULL CHECK (trade_area_mm2 > 0),
    geometric_area_mm2 bigint NOT NULL CHECK (geometric_area_mm2 > 0),
    reel_kind text COLLATE "C" NOT NULL,
    priority bigint NOT NULL CHECK (priority BETWEEN 1 AND 10),
    due timestamptz,
    note text NOT NULL DEFAULT '',
    handed_in_at timestamptz NOT NULL,
    -- on_shelf, batched, processed (drying until dry_at, ready after), spoiled, collected, withdrawn
    status text NOT NULL CHECK (status IN ('on_shelf', 'batched', 'processed', 'spoiled', 'collected', 'withdrawn')),
    dry_at timestamptz,
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT rolls_member FOREIGN KEY (lab_id, member_id) REFERENCES members,
    CONSTRAINT rolls_reel_kind FOREIGN KEY (lab_id, reel_kind) REFERENCES reel_kinds
);
CREATE INDEX rolls_open ON rolls (lab_id, id) WHERE status IN ('on_shelf', 'batched');
CREATE INDEX rolls_by_member ON rolls (lab_id, member_id, id);

CREATE TABLE bookings (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    session_id text COLLATE "C" NOT NULL,
    created_at timestamptz NOT NULL,
    cancelled_at timestamptz,
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT bookings_member FOREIGN KEY (lab_id, member_id) REFERENCES members,
    CONSTRAINT bookings_session FOREIGN KEY (lab_id, session_id) REFERENCES sessions
);
CREATE INDEX bookings_by_session ON bookings (lab_id, session_id) WHERE cancelled_at IS NULL;
CREATE INDEX bookings_by_member ON bookings (lab_id, member_id, id);

CREATE TABLE booking_rolls (
    lab_id text COLLATE "C" NOT NULL,
    booking_id text COLLATE "C" NOT NULL,
    roll_id text COLLATE "C" NOT NULL,
    live boolean NOT NULL DEFAULT true,         -- false once the booking is cancelled
    PRIMARY KEY (lab_id, booking_id, roll_id),
    CONSTRAINT booking_rolls_booking FOREIGN KEY (lab_id, booking_id) REFERENCES bookings,
    CONSTRAINT booking_rolls_roll FOREIGN KEY (lab_id, roll_id) REFERENCES rolls
);
-- A roll holds at most one place.
CREATE UNIQUE INDEX booking_rolls_one_place ON booking_rolls (lab_id, roll_id) WHERE live;

-- The steward's word: a pin binds a roll to a session, a ban keeps it out of one, or of all.
CREATE TABLE directions (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    kind text NOT NULL CHECK (kind IN ('pin', 'ban')),
    roll_id text COLLATE "C" NOT NULL,
    session_id text COLLATE "C",
    given_by text COLLATE "C" NOT NULL,
    given_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT directions_roll FOREIGN KEY (lab_id, roll_id) REFERENCES rolls,
    CONSTRAINT directions_session FOREIGN KEY (lab_id, session_id) REFERENCES sessions,
    CONSTRAINT directions_giver FOREIGN KEY (lab_id, given_by) REFERENCES members,
    CONSTRAINT directions_pin_has_session CHECK (kind = 'ban' OR session_id IS NOT NULL),
    CONSTRAINT directions_once UNIQUE NULLS NOT DISTINCT (lab_id, roll_id, session_id, kind)
);
CREATE UNIQUE INDEX directions_one_pin ON directions (lab_id, roll_id) WHERE kind = 'pin';

CREATE TABLE plans (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    problem jsonb NOT NULL,
    plan jsonb NOT NULL,
    replaces text[] NOT NULL,                   -- planned batches that it takes apart when committed
    schedule_version bigint NOT NULL,           -- of the lab, when the problem was read
    made_by text COLLATE "C" NOT NULL,
    made_at timestamptz NOT NULL,
    committed_at timestamptz,
    superseded_at timestamptz,
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT plans_maker FOREIGN KEY (lab_id, made_by) REFERENCES members
);

CREATE TABLE batches (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    plan_id text COLLATE "C" NOT NULL,
    session_id text COLLATE "C" NOT NULL,
    tank_id text COLLATE "C" NOT NULL,
    process text COLLATE "C" NOT NULL,
    push int NOT NULL,
    developing_s bigint NOT NULL,
    kit_id text COLLATE "C" NOT NULL,           -- whose chemistry it runs on
    bath_set_id text COLLATE "C",               -- null until that kit is mixed for it
    mixes boolean NOT NULL,
    start_at timestamptz NOT NULL,
    wet_at timestamptz NOT NULL,
    end_at timestamptz NOT NULL,
    clear_at timestamptz NOT NULL,
    placed jsonb NOT NULL,                      -- the batch as the plan had it
    status text NOT NULL CHECK (status IN ('planned', 'done', 'spoiled', 'cancelled')),
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT batches_plan FOREIGN KEY (lab_id, plan_id) REFERENCES plans,
    CONSTRAINT batches_session FOREIGN KEY (lab_id, session_id) REFERENCES sessions,
    CONSTRAINT batches_tank FOREIGN KEY (lab_id, tank_id) REFERENCES tanks,
    CONSTRAINT batches_kit FOREIGN KEY (lab_id, kit_id) REFERENCES kits,
    CONSTRAINT batches_bath_set FOREIGN KEY (lab_id, bath_set_id) REFERENCES bath_sets,
    CONSTRAINT batches_clock CHECK (start_at <= wet_at AND wet_at < end_at AND end_at <= clear_at)
);
CREATE INDEX batches_by_session ON batches (lab_id, session_id);
CREATE INDEX batches_planned ON batches (lab_id, start_at) WHERE status = 'planned';

CREATE TABLE batch_rolls (
    lab_id text COLLATE "C" NOT NULL,
    batch_id text COLLATE "C" NOT NULL,
    roll_id text COLLATE "C" NOT NULL,
    cabinet_id text COLLATE "C" NOT NULL,
    dry_at timestamptz NOT NULL,
    live boolean NOT NULL DEFAULT true,         -- false once the batch is cancelled
    PRIMARY KEY (lab_id, batch_id, roll_id),
    CONSTRAINT batch_rolls_batch FOREIGN KEY (lab_id, batch_id) REFERENCES batches,
    CONSTRAINT batch_rolls_roll FOREIGN KEY (lab_id, roll_id) REFERENCES rolls,
    CONSTRAINT batch_rolls_cabinet FOREIGN KEY (lab_id, cabinet_id) REFERENCES cabinets
);
CREATE UNIQUE INDEX batch_rolls_one_batch ON batch_rolls (lab_id, roll_id) WHERE live;

CREATE TABLE runs (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    batch_id text COLLATE "C" NOT NULL,
    outcome text NOT NULL CHECK (outcome IN ('done', 'spoiled')),
    started_at timestamptz NOT NULL,
    ended_at timestamptz NOT NULL,
    area_mm2 bigint NOT NULL CHECK (area_mm2 > 0),
    note text NOT NULL,
    run_sheet jsonb NOT NULL,                   -- as it stood when the run was recorded
    recorded_by text COLLATE "C" NOT NULL,
    recorded_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT runs_once UNIQUE (lab_id, batch_id),
    CONSTRAINT runs_batch FOREIGN KEY (lab_id, batch_id) REFERENCES batches,
    CONSTRAINT runs_recorder FOREIGN KEY (lab_id, recorded_by) REFERENCES members,
    CONSTRAINT runs_clock CHECK (started_at < ended_at)
);

-- +goose Down
DROP TABLE runs, batch_rolls, batches, plans, directions, booking_rolls, bookings, rolls, sessions, openings;
