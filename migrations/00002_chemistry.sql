-- +goose Up
-- Formats and processes of a lab's own (the built-in ones are in the program),
-- kits as bought, baths as mixed.
CREATE TABLE formats (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    code text COLLATE "C" NOT NULL,
    definition jsonb NOT NULL,
    created_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, code)
);

CREATE TABLE processes (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    code text COLLATE "C" NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    definition jsonb NOT NULL,
    created_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, code, version)
);

CREATE TABLE kits (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
    process text COLLATE "C" NOT NULL,
    price_minor bigint NOT NULL CHECK (price_minor > 0),
    bought_by text COLLATE "C",                 -- null: the co-op's fund
    bought_on date NOT NULL,
    portions bigint NOT NULL CHECK (portions > 0),
    portions_left bigint NOT NULL CHECK (portions_left BETWEEN 0 AND portions),
    mix_s bigint NOT NULL CHECK (mix_s >= 0),
    unopened_until timestamptz NOT NULL,
    opened_life_s bigint NOT NULL CHECK (opened_life_s > 0),
    opened_at timestamptz,
    rated_area_mm2 bigint NOT NULL CHECK (rated_area_mm2 > 0),  -- of one portion
    baths jsonb NOT NULL,                       -- what one portion makes, by role
    share_rule text NOT NULL CHECK (share_rule IN ('by_area', 'by_roll', 'equally')),
    unused_falls_on text NOT NULL CHECK (unused_falls_on IN ('users', 'subscribers', 'fund')),
    subscribers text[] NOT NULL DEFAULT '{}',
    closed_at timestamptz,
    closed_because text CHECK (closed_because IN ('used_up', 'expired', 'thrown_away')),
    created_at timestamptz NOT NULL,
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT kits_buyer FOREIGN KEY (lab_id, bought_by) REFERENCES members,
    CONSTRAINT kits_closed CHECK ((closed_at IS NULL) = (closed_because IS NULL))
);

CREATE TABLE bath_sets (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    kit_id text COLLATE "C" NOT NULL,
    mixed_at timestamptz NOT NULL,
    mixed_by text COLLATE "C" NOT NULL,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT bath_sets_kit FOREIGN KEY (lab_id, kit_id) REFERENCES kits,
    CONSTRAINT bath_sets_mixer FOREIGN KEY (lab_id, mixed_by) REFERENCES members
);
CREATE INDEX bath_sets_by_kit ON bath_sets (lab_id, kit_id);

CREATE TABLE baths (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    bath_set_id text COLLATE "C" NOT NULL,
    role text COLLATE "C" NOT NULL,
    definition jsonb NOT NULL,                  -- as the kit gave it when mixed
    volume_left_ml bigint NOT NULL CHECK (volume_left_ml >= 0),
    used_area_mm2 bigint NOT NULL DEFAULT 0 CHECK (used_area_mm2 >= 0),
    used_runs bigint NOT NULL DEFAULT 0 CHECK (used_runs >= 0),
    expires_at timestamptz NOT NULL,
    discarded_at timestamptz,
    discarded_to text,
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT baths_set FOREIGN KEY (lab_id, bath_set_id) REFERENCES bath_sets,
    CONSTRAINT baths_role UNIQUE (lab_id, bath_set_id, role)
);

-- +goose Down
DROP TABLE baths, bath_sets, kits, processes, formats;
