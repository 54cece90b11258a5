-- +goose Up
-- How members sign in: by password, by a code that is mailed or handed over, by
-- invitation, or through the co-op's own OpenID provider. Every secret is kept as
-- a hash alone: slow (Argon2id) where people chose it, SHA-256 where it is random
-- and long. Instants here are real ones, also in a trial.

-- Addresses are kept in lower case: nobody has two that differ by case alone.
ALTER TABLE members ADD COLUMN email text COLLATE "C"
    CONSTRAINT members_email_form CHECK (email = lower(email) AND length(email) BETWEEN 3 AND 254);
-- True of an address that a newcomer gave as theirs, until a code that was mailed
-- to it comes back: nobody is bound to a member by an address that is only claimed.
ALTER TABLE members ADD COLUMN email_claimed boolean NOT NULL DEFAULT false;
CREATE UNIQUE INDEX members_email ON members (lab_id, email);

-- A code that was mailed works for minutes and only as long as the address is the member's.
ALTER TABLE sign_in_codes ADD COLUMN mailed_to text COLLATE "C";
CREATE INDEX sign_in_codes_member ON sign_in_codes (lab_id, member_id, created_at);

CREATE TABLE passwords (
    lab_id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    phc text NOT NULL CHECK (phc LIKE '$argon2id$%'),
    changed_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, member_id),
    CONSTRAINT passwords_member FOREIGN KEY (lab_id, member_id) REFERENCES members
);

-- Wrong passwords in a row, by address, whether anybody has it or not: who
-- guesses cannot learn which addresses are members' by being slowed down.
CREATE TABLE password_failures (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    email_sha256 bytea NOT NULL,
    count bigint NOT NULL CHECK (count > 0),
    last_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, email_sha256)
);
CREATE INDEX password_failures_age ON password_failures (lab_id, last_at);

-- One row for each device that somebody signed in on.
CREATE TABLE sign_ins (
    lab_id text COLLATE "C" NOT NULL,
    id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    method text NOT NULL CONSTRAINT sign_ins_method CHECK (method IN ('code', 'mail', 'password', 'invitation', 'provider')),
    device text NOT NULL CHECK (length(device) <= 100),
    begun_at timestamptz NOT NULL,
    last_used_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL CHECK (expires_at > begun_at),
    ended_at timestamptz,
    ended_by text CONSTRAINT sign_ins_ended_by CHECK (ended_by IN ('sign-out', 'everywhere', 'password-changed', 'token-reused')),
    PRIMARY KEY (lab_id, id),
    CONSTRAINT sign_ins_member FOREIGN KEY (lab_id, member_id) REFERENCES members,
    CONSTRAINT sign_ins_ended CHECK ((ended_at IS NULL) = (ended_by IS NULL))
);
CREATE INDEX sign_ins_of_member ON sign_ins (lab_id, member_id);
CREATE INDEX sign_ins_age ON sign_ins (lab_id, expires_at);

-- The family of refresh tokens of a sign-in. Each works once; one that comes a
-- second time has been copied, and ends the sign-in.
CREATE TABLE refresh_tokens (
    lab_id text COLLATE "C" NOT NULL,
    token_sha256 bytea NOT NULL,
    sign_in_id text COLLATE "C" NOT NULL,
    made_at timestamptz NOT NULL,
    used_at timestamptz,
    PRIMARY KEY (lab_id, token_sha256),
    CONSTRAINT refresh_tokens_sign_in FOREIGN KEY (lab_id, sign_in_id) REFERENCES sign_ins ON DELETE CASCADE
);
CREATE INDEX refresh_tokens_of_sign_in ON refresh_tokens (lab_id, sign_in_id);
CREATE UNIQUE INDEX refresh_tokens_one_unused ON refresh_tokens (lab_id, sign_in_id) WHERE used_at IS NULL;

CREATE TABLE invitations (
    lab_id text COLLATE "C" NOT NULL,
    id text COLLATE "C" NOT NULL,
    secret_sha256 bytea NOT NULL,
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
    email text COLLATE "C" CONSTRAINT invitations_email_form CHECK (email = lower(email) AND length(email) BETWEEN 3 AND 254),
    roles text[] NOT NULL CHECK (roles <@ ARRAY['member', 'steward', 'treasurer', 'keeper'] AND cardinality(roles) > 0),
    invited_by text COLLATE "C" NOT NULL,
    created_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    accepted_at timestamptz,
    member_id text COLLATE "C",         -- who came of it
    withdrawn_at timestamptz,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT invitations_secret UNIQUE (lab_id, secret_sha256),
    CONSTRAINT invitations_inviter FOREIGN KEY (lab_id, invited_by) REFERENCES members,
    CONSTRAINT invitations_member FOREIGN KEY (lab_id, member_id) REFERENCES members,
    CONSTRAINT invitations_accepted CHECK ((accepted_at IS NULL) = (member_id IS NULL)),
    CONSTRAINT invitations_once CHECK (accepted_at IS NULL OR withdrawn_at IS NULL)
);

-- Who asked for a code by mail, until a job looks whether the address is anybody's:
-- what is answered, and how fast, must not tell.
CREATE TABLE code_requests (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    email text COLLATE "C" NOT NULL,
    asked_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, id)
);

-- Who a member is at an OpenID provider: bound the first time they come from there.
CREATE TABLE provider_subjects (
    lab_id text COLLATE "C" NOT NULL,
    issuer text COLLATE "C" NOT NULL,
    subject text COLLATE "C" NOT NULL CHECK (length(subject) BETWEEN 1 AND 255),
    member_id text COLLATE "C" NOT NULL,
    bound_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, issuer, subject),
    CONSTRAINT provider_subjects_member FOREIGN KEY (lab_id, member_id) REFERENCES members,
    CONSTRAINT provider_subjects_one UNIQUE (lab_id, issuer, member_id)
);

-- ID tokens that were traded already, until they expire: each is taken once.
CREATE TABLE provider_tokens (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    token_sha256 bytea NOT NULL,
    expires_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, token_sha256)
);
CREATE INDEX provider_tokens_age ON provider_tokens (lab_id, expires_at);

-- +goose Down
DROP TABLE provider_tokens, provider_subjects, code_requests, invitations, refresh_tokens, sign_ins, password_failures, passwords;
DROP INDEX sign_in_codes_member;
ALTER TABLE sign_in_codes DROP COLUMN mailed_to;
DROP INDEX members_email;
ALTER TABLE members DROP COLUMN email, DROP COLUMN email_claimed;
