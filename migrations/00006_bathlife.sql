-- +goose Up
-- The life of baths: how they are stored, topped up, kept from use and thrown
-- out; and what was read of runs.
ALTER TABLE baths ADD COLUMN storage jsonb;     -- null: as the kit's life takes it

CREATE TABLE quarantines (
    lab_id text COLLATE "C" NOT NULL,
    id text COLLATE "C" NOT NULL,
    bath_id text COLLATE "C" NOT NULL,
    because text NOT NULL CHECK (length(because) BETWEEN 1 AND 500),
    imposed_by text COLLATE "C" NOT NULL,
    imposed_at timestamptz NOT NULL,
    lifted_because text CHECK (length(lifted_because) BETWEEN 1 AND 500),
    lifted_by text COLLATE "C",
    lifted_at timestamptz,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT quarantines_bath FOREIGN KEY (lab_id, bath_id) REFERENCES baths,
    CONSTRAINT quarantines_imposer FOREIGN KEY (lab_id, imposed_by) REFERENCES members,
    CONSTRAINT quarantines_lifter FOREIGN KEY (lab_id, lifted_by) REFERENCES members,
    CONSTRAINT quarantines_lifted CHECK (
        (lifted_at IS NULL) = (lifted_by IS NULL) AND (lifted_at IS NULL) = (lifted_because IS NULL))
);
CREATE UNIQUE INDEX quarantines_one_open ON quarantines (lab_id, bath_id) WHERE lifted_at IS NULL;
CREATE INDEX quarantines_by_bath ON quarantines (lab_id, bath_id, id);

CREATE TABLE top_ups (
    lab_id text COLLATE "C" NOT NULL,
    id text COLLATE "C" NOT NULL,
    bath_id text COLLATE "C" NOT NULL,
    volume_ml bigint NOT NULL CHECK (volume_ml > 0),
    note text NOT NULL,
    made_by text COLLATE "C" NOT NULL,
    made_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT top_ups_bath FOREIGN KEY (lab_id, bath_id) REFERENCES baths,
    CONSTRAINT top_ups_maker FOREIGN KEY (lab_id, made_by) REFERENCES members
);
CREATE INDEX top_ups_by_bath ON top_ups (lab_id, bath_id, id);

CREATE TABLE waste (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    bath_id text COLLATE "C",                   -- null: of no bath, such as what one-shot runs poured away
    kind text NOT NULL CHECK (kind IN ('silver_bearing', 'developer', 'bleach', 'other')),
    volume_ml bigint NOT NULL CHECK (volume_ml > 0),
    went_to text NOT NULL CHECK (length(went_to) BETWEEN 1 AND 200),
    note text NOT NULL,
    logged_by text COLLATE "C",                 -- null: before it was logged by whom
    logged_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT waste_bath FOREIGN KEY (lab_id, bath_id) REFERENCES baths,
    CONSTRAINT waste_logger FOREIGN KEY (lab_id, logged_by) REFERENCES members
);
CREATE UNIQUE INDEX waste_one_disposal ON waste (lab_id, bath_id);
CREATE INDEX waste_by_time ON waste (lab_id, logged_at);
INSERT INTO waste (lab_id, id, bath_id, kind, volume_ml, went_to, note, logged_at)
    SELECT lab_id, new_id('waste', discarded_at), id,
        CASE WHEN role IN ('fixer', 'bleach-fix', 'stabiliser') THEN 'silver_bearing'
            WHEN role = 'developer' OR role LIKE '%-developer' THEN 'developer'
            WHEN role = 'bleach' THEN 'bleach' ELSE 'other' END,
        volume_left_ml, coalesce(nullif(discarded_to, ''), 'not said'), '', discarded_at
    FROM baths WHERE discarded_at IS NOT NULL AND volume_left_ml > 0;

-- What was read of a run, when it was recorded or later; never changed.
CREATE TABLE readings (
    lab_id text COLLATE "C" NOT NULL,
    id text COLLATE "C" NOT NULL,
    run_id text COLLATE "C" NOT NULL,
    reading jsonb NOT NULL,
    warnings jsonb NOT NULL,                    -- as the limits were then
    read_by text COLLATE "C" NOT NULL,
    read_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT readings_run FOREIGN KEY (lab_id, run_id) REFERENCES runs,
    CONSTRAINT readings_reader FOREIGN KEY (lab_id, read_by) REFERENCES members
);
CREATE INDEX readings_by_run ON readings (lab_id, run_id, id);

-- Why a run was made against the state of its baths, and against what.
ALTER TABLE runs ADD COLUMN override jsonb;

-- +goose Down
ALTER TABLE runs DROP COLUMN override;
DROP TABLE readings, waste, top_ups, quarantines;
ALTER TABLE baths DROP COLUMN storage;
