-- +goose Up
-- The keys that sign access tokens: Ed25519 seeds, sealed by AES-256-GCM under a
-- key that is derived from the secret in the server's environment, never here.
-- They are the whole installation's, of no lab.
CREATE TABLE signing_keys (
    kid text COLLATE "C" PRIMARY KEY,   -- RFC 7638 thumbprint
    sealed bytea NOT NULL,
    made_at timestamptz NOT NULL,
    signs_from timestamptz NOT NULL,
    signs_until timestamptz,            -- null: until it has a successor
    honoured_until timestamptz,         -- when its last token has expired
    CONSTRAINT signing_keys_ends CHECK ((signs_until IS NULL) = (honoured_until IS NULL)),
    CONSTRAINT signing_keys_honoured CHECK (honoured_until >= signs_until)
);
-- One key at a time is without a successor: two servers cannot both make one.
CREATE UNIQUE INDEX signing_keys_newest ON signing_keys ((true)) WHERE signs_until IS NULL;

-- +goose Down
DROP TABLE signing_keys;
