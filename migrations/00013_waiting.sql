-- +goose Up
-- Those who wait for a place, in the order in which they are offered one.
CREATE TABLE waiting_entries (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    session_id text COLLATE "C",                -- null: any session that starts in [from_at, until_at)
    from_at timestamptz,
    until_at timestamptz,
    -- The order. It is counted, not timed, so that no clock puts anybody ahead.
    turn bigint GENERATED ALWAYS AS IDENTITY,
    joined_at timestamptz NOT NULL,
    passed text[] NOT NULL DEFAULT '{}',        -- sessions offered in vain, which are not offered again
    booking_id text COLLATE "C",                -- the place that is offered, or was accepted
    ended_at timestamptz,
    outcome text CHECK (outcome IN ('accepted', 'declined', 'lapsed', 'left', 'over')),
    version bigint NOT NULL DEFAULT 1,
    CONSTRAINT waiting_entries_pkey PRIMARY KEY (lab_id, id),
    CONSTRAINT waiting_entries_member FOREIGN KEY (lab_id, member_id) REFERENCES members,
    CONSTRAINT waiting_entries_session FOREIGN KEY (lab_id, session_id) REFERENCES sessions,
    CONSTRAINT waiting_entries_booking FOREIGN KEY (lab_id, booking_id) REFERENCES bookings,
    CONSTRAINT waiting_entries_wish CHECK (num_nonnulls(from_at, until_at) = CASE WHEN session_id IS NULL THEN 2 ELSE 0 END),
    CONSTRAINT waiting_entries_span CHECK (from_at < until_at),
    CONSTRAINT waiting_entries_end CHECK ((ended_at IS NULL) = (outcome IS NULL)),
    CONSTRAINT waiting_entries_offer CHECK (booking_id IS NULL OR ended_at IS NULL OR outcome = 'accepted')
);
CREATE UNIQUE INDEX waiting_entries_turn ON waiting_entries (lab_id, turn) WHERE ended_at IS NULL;
CREATE UNIQUE INDEX waiting_entries_one_offer ON waiting_entries (lab_id, booking_id) WHERE booking_id IS NOT NULL;
CREATE INDEX waiting_entries_by_member ON waiting_entries (lab_id, member_id, id);

CREATE TABLE waiting_rolls (
    lab_id text COLLATE "C" NOT NULL,
    entry_id text COLLATE "C" NOT NULL,
    roll_id text COLLATE "C" NOT NULL,
    live boolean NOT NULL DEFAULT true,         -- false once the entry has ended
    CONSTRAINT waiting_rolls_pkey PRIMARY KEY (lab_id, entry_id, roll_id),
    CONSTRAINT waiting_rolls_entry FOREIGN KEY (lab_id, entry_id) REFERENCES waiting_entries,
    CONSTRAINT waiting_rolls_roll FOREIGN KEY (lab_id, roll_id) REFERENCES rolls
);
-- A roll waits once at a time.
CREATE UNIQUE INDEX waiting_rolls_once ON waiting_rolls (lab_id, roll_id) WHERE live;

ALTER TABLE bookings
    ADD COLUMN offered boolean NOT NULL DEFAULT false,      -- to somebody who waited
    ADD CONSTRAINT bookings_offered CHECK (NOT offered OR held_until IS NOT NULL);

-- Up to which change of a lab's schedule its list has been gone through: while
-- that is the newest, nobody on it could be offered anything more.
CREATE TABLE waiting_lists (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    seen_version bigint NOT NULL,
    CONSTRAINT waiting_lists_pkey PRIMARY KEY (lab_id)
);

SELECT guard_lab('waiting_entries'), guard_lab('waiting_rolls'), guard_lab('waiting_lists');

-- +goose Down
ALTER TABLE bookings
    DROP CONSTRAINT bookings_offered,
    DROP COLUMN offered;
DROP TABLE waiting_lists, waiting_rolls, waiting_entries;
