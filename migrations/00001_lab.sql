-- +goose Up
-- The lab itself: people and equipment. Every key leads with the lab's id, and
-- every reference carries it, so that no row can point into another lab.
CREATE EXTENSION IF NOT EXISTS btree_gist;

-- +goose StatementBegin
-- A UUIDv7 (RFC 9562) of the given instant behind a prefix that says what it
-- is an id of. A counter keeps ids of one millisecond, such as those of one
-- request, in the order in which they were made (RFC 9562, 6.2, method 1).
-- PostgreSQL makes version 7 itself only from 18 on.
CREATE SEQUENCE new_id_counter MINVALUE 0 MAXVALUE 4095 CYCLE;
CREATE FUNCTION new_id(prefix text, at timestamptz) RETURNS text
LANGUAGE sql VOLATILE STRICT AS $$
    SELECT prefix || '_'
        || lpad(to_hex(floor(extract(epoch FROM at) * 1000)::bigint), 12, '0')
        || '7' || lpad(to_hex(nextval('new_id_counter')), 3, '0')
        || substr(replace(gen_random_uuid()::text, '-', ''), 17)
$$;
-- +goose StatementEnd

CREATE TABLE labs (
    id text COLLATE "C" PRIMARY KEY,
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
    time_zone text NOT NULL,
    currency text NOT NULL CHECK (currency ~ '^[A-Z]{3}$'),
    area_rule text NOT NULL CHECK (area_rule IN ('trade', 'geometric')),
    developing_tolerance_permille bigint NOT NULL CHECK (developing_tolerance_permille BETWEEN 0 AND 500),
    room_temperature_mc bigint NOT NULL,        -- thousandths of °C
    heater_efficiency_permille bigint NOT NULL CHECK (heater_efficiency_permille BETWEEN 1 AND 1000),
    created_at timestamptz NOT NULL,
    version bigint NOT NULL DEFAULT 1,
    -- Counts every change that a plan depends on; a plan made at another count is stale.
    schedule_version bigint NOT NULL DEFAULT 1
);

CREATE TABLE members (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
    roles text[] NOT NULL CHECK (roles <@ ARRAY['member', 'steward', 'treasurer', 'keeper'] AND cardinality(roles) > 0),
    joined_at timestamptz NOT NULL,
    left_at timestamptz,
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id)
);

-- Sign-in codes are kept as SHA-256 alone: they are random and long, so a slow hash adds nothing.
CREATE TABLE sign_in_codes (
    code_sha256 bytea PRIMARY KEY,
    lab_id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    created_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    used_at timestamptz,
    CONSTRAINT sign_in_codes_member FOREIGN KEY (lab_id, member_id) REFERENCES members
);

CREATE TABLE reel_kinds (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    code text COLLATE "C" NOT NULL,
    name text NOT NULL,
    count bigint NOT NULL CHECK (count >= 0),
    holds bigint NOT NULL CHECK (holds > 0),
    height_mm bigint NOT NULL CHECK (height_mm > 0),
    solution_ml bigint NOT NULL CHECK (solution_ml > 0),
    loading_s bigint NOT NULL CHECK (loading_s >= 0),
    drying_s bigint NOT NULL CHECK (drying_s >= 0),
    longest_mm bigint CHECK (longest_mm > 0),   -- null: any film of its kind
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, code)
);

CREATE TABLE tanks (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    name text NOT NULL,
    height_mm bigint NOT NULL CHECK (height_mm > 0),
    volume_ml bigint NOT NULL CHECK (volume_ml > 0),
    heater_w bigint NOT NULL CHECK (heater_w >= 0),
    reel_kinds text[] NOT NULL,
    clean_up_s bigint NOT NULL CHECK (clean_up_s >= 0),
    flush_s bigint NOT NULL CHECK (flush_s >= 0),
    out_of_order boolean NOT NULL DEFAULT false,
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT tanks_name UNIQUE (lab_id, name)
);

CREATE TABLE cabinets (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    name text NOT NULL,
    positions bigint NOT NULL CHECK (positions > 0),
    drop_mm bigint NOT NULL CHECK (drop_mm > 0),
    drying_s bigint NOT NULL CHECK (drying_s > 0),
    out_of_order boolean NOT NULL DEFAULT false,
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT cabinets_name UNIQUE (lab_id, name)
);

-- First answers to POSTs that carried an Idempotency-Key.
CREATE TABLE idempotency_keys (
    principal text NOT NULL,
    route text NOT NULL,
    key text NOT NULL,
    fingerprint bytea NOT NULL,
    status int NOT NULL,
    headers jsonb NOT NULL,
    body bytea NOT NULL,
    created_at timestamptz NOT NULL,
    PRIMARY KEY (principal, route, key)
);
CREATE INDEX idempotency_keys_age ON idempotency_keys (created_at);

-- +goose Down
DROP TABLE idempotency_keys, cabinets, tanks, reel_kinds, sign_in_codes, members, labs;
DROP FUNCTION new_id(text, timestamptz);
DROP SEQUENCE new_id_counter;
