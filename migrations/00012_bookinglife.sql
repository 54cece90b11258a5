-- +goose Up
-- The life of a booking: held for a time, confirmed, moved, cancelled in time or
-- late, not turned up for; what a lab rules on that; and sessions that certified
-- members run themselves.
CREATE TABLE booking_rules (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    hold_s bigint NOT NULL CHECK (hold_s BETWEEN 60 AND 604800),
    offer_s bigint NOT NULL CHECK (offer_s BETWEEN 60 AND 604800),
    cut_off_s bigint NOT NULL CHECK (cut_off_s BETWEEN 0 AND 2419200),
    rolls_a_week bigint CHECK (rolls_a_week BETWEEN 1 AND 1000),    -- null: as many as fit
    strikes bigint CHECK (strikes BETWEEN 1 AND 100),               -- null: they count for nothing
    strikes_count_s bigint NOT NULL CHECK (strikes_count_s BETWEEN 86400 AND 63072000),
    version bigint NOT NULL DEFAULT 1,
    CONSTRAINT booking_rules_pkey PRIMARY KEY (lab_id)
);

ALTER TABLE bookings
    ADD COLUMN held_until timestamptz,          -- of a hold; a hold holds nothing from then on
    ADD COLUMN confirmed_at timestamptz,        -- null while, or because, it was only held
    ADD COLUMN lapsed_at timestamptz,           -- when somebody first acted on the hold's end
    ADD COLUMN no_show_at timestamptz,
    ADD COLUMN late boolean NOT NULL DEFAULT false;     -- cancelled by its member after the cut-off
UPDATE bookings SET confirmed_at = created_at;
ALTER TABLE bookings
    ADD CONSTRAINT bookings_held_or_confirmed CHECK (held_until IS NOT NULL OR confirmed_at IS NOT NULL),
    ADD CONSTRAINT bookings_one_end CHECK (num_nonnulls(cancelled_at, lapsed_at, no_show_at) <= 1),
    ADD CONSTRAINT bookings_lapse CHECK (lapsed_at IS NULL OR confirmed_at IS NULL),
    ADD CONSTRAINT bookings_late CHECK (NOT late OR cancelled_at IS NOT NULL);
CREATE INDEX bookings_held ON bookings (lab_id, held_until)
    WHERE confirmed_at IS NULL AND cancelled_at IS NULL AND lapsed_at IS NULL;

-- Places given back after the cut-off, and not turned up for.
CREATE TABLE strikes (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    booking_id text COLLATE "C" NOT NULL,
    kind text NOT NULL CHECK (kind IN ('late_cancel', 'late_change', 'no_show')),
    at timestamptz NOT NULL,
    CONSTRAINT strikes_pkey PRIMARY KEY (lab_id, id),
    CONSTRAINT strikes_member FOREIGN KEY (lab_id, member_id) REFERENCES members,
    CONSTRAINT strikes_booking FOREIGN KEY (lab_id, booking_id) REFERENCES bookings
);
CREATE INDEX strikes_by_member ON strikes (lab_id, member_id, at);

ALTER TABLE sessions
    ADD COLUMN kind text NOT NULL DEFAULT 'attended',
    ALTER COLUMN operator_id DROP NOT NULL,     -- of a self-service session until a member books it
    ADD CONSTRAINT sessions_kind CHECK (kind IN ('attended', 'self_service')),
    ADD CONSTRAINT sessions_attended CHECK (kind = 'self_service' OR operator_id IS NOT NULL);

SELECT guard_lab('booking_rules'), guard_lab('strikes');

-- +goose Down
-- A session that nobody runs is, to the tables of before, called off.
UPDATE sessions e SET cancelled_at = coalesce(cancelled_at, lower(during)),
    operator_id = (SELECT min(m.id) FROM members m WHERE m.lab_id = e.lab_id)
    WHERE operator_id IS NULL;
ALTER TABLE sessions
    DROP CONSTRAINT sessions_attended,
    DROP CONSTRAINT sessions_kind,
    ALTER COLUMN operator_id SET NOT NULL,
    DROP COLUMN kind;
DROP TABLE strikes;
-- A hold that was not confirmed is, to the tables of before, cancelled.
UPDATE bookings SET cancelled_at = coalesce(lapsed_at, held_until)
    WHERE confirmed_at IS NULL AND cancelled_at IS NULL;
UPDATE booking_rolls k SET live = false FROM bookings b
    WHERE b.lab_id = k.lab_id AND b.id = k.booking_id AND b.cancelled_at IS NOT NULL AND k.live;
DROP INDEX bookings_held;
ALTER TABLE bookings
    DROP CONSTRAINT bookings_held_or_confirmed,
    DROP CONSTRAINT bookings_one_end,
    DROP CONSTRAINT bookings_lapse,
    DROP CONSTRAINT bookings_late,
    DROP COLUMN held_until,
    DROP COLUMN confirmed_at,
    DROP COLUMN lapsed_at,
    DROP COLUMN no_show_at,
    DROP COLUMN late;
DROP TABLE booking_rules;
