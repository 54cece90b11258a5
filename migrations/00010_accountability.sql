-- +goose Up
-- Who may run which tank alone, who did what, and who is only a pseudonym any more.
CREATE TABLE tank_certifications (
    lab_id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    tank_id text COLLATE "C" NOT NULL,
    certified_by text COLLATE "C" NOT NULL,
    certified_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, member_id, tank_id),
    CONSTRAINT tank_certifications_member FOREIGN KEY (lab_id, member_id) REFERENCES members,
    CONSTRAINT tank_certifications_tank FOREIGN KEY (lab_id, tank_id) REFERENCES tanks,
    CONSTRAINT tank_certifications_certifier FOREIGN KEY (lab_id, certified_by) REFERENCES members
);

-- One row for each request that changed something, written in its transaction.
-- It holds ids and nothing else of anybody, and so stays when somebody is erased.
CREATE TABLE audit_log (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    at timestamptz NOT NULL,                    -- the server's clock, also in a trial
    operation text COLLATE "C" NOT NULL,        -- the contract's operationId
    by_member text COLLATE "C",                 -- null: the setup code, or somebody who was signing in
    about_member text COLLATE "C",              -- whose membership it was about, if anybody's
    object text COLLATE "C" NOT NULL,           -- the address, below the lab's
    made text COLLATE "C",                      -- what came of it, an address too
    request uuid NOT NULL,                      -- the instance in the server's log
    CONSTRAINT audit_log_pkey PRIMARY KEY (lab_id, id)
);
CREATE INDEX audit_log_by_member ON audit_log (lab_id, by_member, id);
CREATE INDEX audit_log_about_member ON audit_log (lab_id, about_member, id);

-- +goose StatementBegin
CREATE FUNCTION audit_log_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'the audit log is append-only'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'audit_log_append_only';
END $$;
-- +goose StatementEnd
CREATE TRIGGER audit_log_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON audit_log
    FOR EACH STATEMENT EXECUTE FUNCTION audit_log_append_only();
REVOKE UPDATE, DELETE ON audit_log FROM wetside_app;

-- Of whoever was erased an id stays, which the books and the film's traces need.
ALTER TABLE members
    ADD COLUMN erased_at timestamptz,
    ADD CONSTRAINT members_erased CHECK (erased_at IS NULL OR left_at IS NOT NULL AND email IS NULL);

SELECT guard_lab('tank_certifications'), guard_lab('audit_log');

-- +goose Down
ALTER TABLE members DROP CONSTRAINT members_erased, DROP COLUMN erased_at;
DROP TABLE audit_log, tank_certifications;
DROP FUNCTION audit_log_append_only();
