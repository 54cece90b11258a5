-- +goose Up
-- Telling people: work to be done later, kept by the job engine in tables as it
-- wants them, and what waits in the lab's own tables to be told.

-- The engine's tables are those of River's migrations 002 to 008, in one; a test
-- compares them. Rows name the lab and ids, nothing personal.
CREATE TYPE river_job_state AS ENUM (
    'available', 'cancelled', 'completed', 'discarded', 'pending', 'retryable', 'running', 'scheduled');

CREATE TABLE river_job (
    id bigserial PRIMARY KEY,
    state river_job_state NOT NULL DEFAULT 'available',
    attempt smallint NOT NULL DEFAULT 0,
    max_attempts smallint NOT NULL DEFAULT 25,
    attempted_at timestamptz,
    created_at timestamptz NOT NULL DEFAULT now(),
    finalized_at timestamptz,
    scheduled_at timestamptz NOT NULL DEFAULT now(),
    priority smallint NOT NULL DEFAULT 1,
    args jsonb NOT NULL,
    attempted_by text[],
    errors jsonb[],
    kind text NOT NULL,
    metadata jsonb NOT NULL DEFAULT '{}',
    queue text NOT NULL DEFAULT 'default',
    tags varchar(255)[] NOT NULL DEFAULT '{}',
    unique_key bytea,
    unique_states bit(8),
    CONSTRAINT finalized_or_finalized_at_null CHECK (
        (finalized_at IS NULL AND state NOT IN ('cancelled', 'completed', 'discarded')) OR
        (finalized_at IS NOT NULL AND state IN ('cancelled', 'completed', 'discarded'))),
    CONSTRAINT max_attempts_is_positive CHECK (max_attempts > 0),
    CONSTRAINT priority_in_range CHECK (priority >= 1 AND priority <= 4),
    CONSTRAINT queue_length CHECK (char_length(queue) > 0 AND char_length(queue) < 128),
    CONSTRAINT kind_length CHECK (char_length(kind) > 0 AND char_length(kind) < 128)
);

-- +goose StatementBegin
CREATE FUNCTION river_job_state_in_bitmask(bitmask bit(8), state river_job_state) RETURNS boolean
LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE state
        WHEN 'available' THEN get_bit(bitmask, 7)
        WHEN 'cancelled' THEN get_bit(bitmask, 6)
        WHEN 'completed' THEN get_bit(bitmask, 5)
        WHEN 'discarded' THEN get_bit(bitmask, 4)
        WHEN 'pending'   THEN get_bit(bitmask, 3)
        WHEN 'retryable' THEN get_bit(bitmask, 2)
        WHEN 'running'   THEN get_bit(bitmask, 1)
        WHEN 'scheduled' THEN get_bit(bitmask, 0)
        ELSE 0
    END = 1;
$$;
-- +goose StatementEnd

CREATE INDEX river_job_kind ON river_job (kind);
CREATE INDEX river_job_state_and_finalized_at_index ON river_job (state, finalized_at) WHERE finalized_at IS NOT NULL;
CREATE INDEX river_job_prioritized_fetching_index ON river_job (state, queue, priority, scheduled_at, id);
CREATE INDEX river_job_args_index ON river_job USING gin (args);
CREATE INDEX river_job_metadata_index ON river_job USING gin (metadata);
CREATE UNIQUE INDEX river_job_unique_idx ON river_job (unique_key)
    WHERE unique_key IS NOT NULL AND unique_states IS NOT NULL AND river_job_state_in_bitmask(unique_states, state);

CREATE UNLOGGED TABLE river_leader (
    elected_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    leader_id text NOT NULL,
    name text PRIMARY KEY DEFAULT 'default',
    CONSTRAINT name_length CHECK (name = 'default'),
    CONSTRAINT leader_id_length CHECK (char_length(leader_id) > 0 AND char_length(leader_id) < 128)
);

CREATE TABLE river_queue (
    name text PRIMARY KEY,
    created_at timestamptz NOT NULL DEFAULT now(),
    metadata jsonb NOT NULL DEFAULT '{}',
    paused_at timestamptz,
    updated_at timestamptz NOT NULL DEFAULT CURRENT_TIMESTAMP
);

CREATE TABLE river_notification (
    id bigserial PRIMARY KEY,
    created_at timestamptz NOT NULL DEFAULT now(),
    payload text NOT NULL,
    topic text NOT NULL,
    CONSTRAINT topic_length CHECK (length(topic) > 0 AND length(topic) < 128)
);
CREATE INDEX river_notification_created_at_idx ON river_notification (created_at);
CREATE INDEX river_notification_topic_id_idx ON river_notification (topic, id);

-- What a member finds in the program itself, as it was worded then.
CREATE TABLE messages (
    lab_id text COLLATE "C" NOT NULL,
    id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    kind text COLLATE "C" NOT NULL,
    about text COLLATE "C",                     -- the id of what it is about
    title text NOT NULL,
    text text NOT NULL,
    sent_at timestamptz NOT NULL,
    read_at timestamptz,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT messages_member FOREIGN KEY (lab_id, member_id) REFERENCES members
);
CREATE INDEX messages_by_member ON messages (lab_id, member_id, (read_at IS NOT NULL), id DESC);

-- Which notices a member wants by which way, where that is not as usual.
CREATE TABLE notice_wishes (
    lab_id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    kind text COLLATE "C" NOT NULL,
    message boolean NOT NULL,
    mail boolean NOT NULL,
    PRIMARY KEY (lab_id, member_id, kind),
    CONSTRAINT notice_wishes_member FOREIGN KEY (lab_id, member_id) REFERENCES members
);

-- Mail on its way. Once sent, or given up, the row goes: nothing of it is kept.
CREATE TABLE mails (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    recipient text NOT NULL CHECK (length(recipient) BETWEEN 3 AND 254),
    subject text NOT NULL CHECK (length(subject) BETWEEN 1 AND 300),
    text text NOT NULL CHECK (length(text) BETWEEN 1 AND 20000),
    queued_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, id)
);

-- Web hooks: where others' programs hear of what happens. A hook's secret is not
-- kept: it is derived from the server's key, the hook's id and the number.
CREATE TABLE hooks (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    url text NOT NULL CHECK (length(url) BETWEEN 8 AND 2000),
    kinds text[] NOT NULL,                      -- empty: all
    secret_number int NOT NULL DEFAULT 1 CHECK (secret_number > 0),
    former_until timestamptz,                   -- until then the secret before signs too
    added_by text COLLATE "C" NOT NULL,
    added_at timestamptz NOT NULL,
    disabled_at timestamptz,
    disabled_because text,
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT hooks_adder FOREIGN KEY (lab_id, added_by) REFERENCES members,
    CONSTRAINT hooks_disabled CHECK ((disabled_at IS NULL) = (disabled_because IS NULL))
);

CREATE TABLE hook_events (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    kind text COLLATE "C" NOT NULL,
    about text COLLATE "C",
    at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, id)
);
CREATE INDEX hook_events_by_time ON hook_events (lab_id, at);

-- One row for each event and hook that is to hear of it.
CREATE TABLE hook_deliveries (
    lab_id text COLLATE "C" NOT NULL,
    hook_id text COLLATE "C" NOT NULL,
    event_id text COLLATE "C" NOT NULL,
    tries int NOT NULL DEFAULT 0,
    last_at timestamptz,
    last_status int,                            -- of HTTP; null where there was no answer
    last_error text,
    delivered_at timestamptz,
    given_up_at timestamptz,
    PRIMARY KEY (lab_id, hook_id, event_id),
    CONSTRAINT hook_deliveries_hook FOREIGN KEY (lab_id, hook_id) REFERENCES hooks ON DELETE CASCADE,
    CONSTRAINT hook_deliveries_event FOREIGN KEY (lab_id, event_id) REFERENCES hook_events ON DELETE CASCADE,
    CONSTRAINT hook_deliveries_one_end CHECK (delivered_at IS NULL OR given_up_at IS NULL)
);
CREATE INDEX hook_deliveries_by_event ON hook_deliveries (lab_id, event_id);

-- Calendars that programs read by a secret address; the secret is random and
-- long, so its SHA-256 is enough.
CREATE TABLE feeds (
    lab_id text COLLATE "C" NOT NULL,
    id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    feed_of text NOT NULL CHECK (feed_of IN ('member', 'lab')),
    secret_sha256 bytea NOT NULL,
    created_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT feeds_member FOREIGN KEY (lab_id, member_id) REFERENCES members,
    CONSTRAINT feeds_secret UNIQUE (lab_id, secret_sha256)
);
CREATE INDEX feeds_by_member ON feeds (lab_id, member_id, id);

SELECT guard_lab('messages'), guard_lab('notice_wishes'), guard_lab('mails'), guard_lab('hooks'),
    guard_lab('hook_events'), guard_lab('hook_deliveries'), guard_lab('feeds');

-- +goose Down
DROP TABLE feeds;
DROP TABLE hook_deliveries, hook_events, hooks;
DROP TABLE mails, notice_wishes, messages;
DROP TABLE river_notification, river_queue, river_leader, river_job;
DROP FUNCTION river_job_state_in_bitmask;
DROP TYPE river_job_state;
