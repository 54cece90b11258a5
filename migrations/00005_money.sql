-- +goose Up
-- Who pays for what, in full: terms of kits and subscriptions, guests, free
-- rolls, surcharges, payments, closed months; and a role for the program that
-- can add to the books and nothing else.

-- A guest is a person in the books who is no member: their film comes by a
-- member, and they never sign in.
ALTER TABLE members ADD COLUMN guest_of text COLLATE "C",
    ADD CONSTRAINT members_host FOREIGN KEY (lab_id, guest_of) REFERENCES members;

-- What a lab rules for all its kits; copied onto a kit when it is entered.
CREATE TABLE money_rules (
    lab_id text COLLATE "C" PRIMARY KEY REFERENCES labs,
    spoiled_falls_on text NOT NULL CHECK (spoiled_falls_on IN ('as_unused', 'sharers', 'fund')),
    surcharge_minor bigint NOT NULL CHECK (surcharge_minor BETWEEN 0 AND 1000000000000),  -- of each run
    version bigint NOT NULL DEFAULT 1
);

ALTER TABLE kits DROP CONSTRAINT kits_share_rule_check,
    ADD CONSTRAINT kits_share_rule_check CHECK (share_rule IN ('by_area', 'by_roll', 'equally', 'weighted'));

CREATE TABLE kit_terms (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    kit_id text COLLATE "C" NOT NULL,
    spoiled_falls_on text NOT NULL CHECK (spoiled_falls_on IN ('as_unused', 'sharers', 'fund')),
    receipt text NOT NULL DEFAULT '',
    buyers jsonb NOT NULL,                      -- [{member?, amount}]; the fund has no member
    subscribe_until timestamptz,                -- null: subscribers were named when it was entered
    subscription_shares bigint CHECK (subscription_shares > 0),
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, kit_id),
    CONSTRAINT kit_terms_kit FOREIGN KEY (lab_id, kit_id) REFERENCES kits
);
INSERT INTO kit_terms (lab_id, kit_id, spoiled_falls_on, buyers)
    SELECT lab_id, id, 'as_unused', jsonb_build_array(jsonb_strip_nulls(jsonb_build_object('member', bought_by, 'amount', price_minor)))
    FROM kits;

CREATE TABLE subscriptions (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    kit_id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    shares bigint NOT NULL CHECK (shares BETWEEN 1 AND 1000),
    made_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, kit_id, member_id),
    CONSTRAINT subscriptions_kit FOREIGN KEY (lab_id, kit_id) REFERENCES kits,
    CONSTRAINT subscriptions_member FOREIGN KEY (lab_id, member_id) REFERENCES members
);
INSERT INTO subscriptions (lab_id, kit_id, member_id, shares, made_at)
    SELECT lab_id, id, s, 1, created_at FROM kits, unnest(subscribers) AS s;

-- A change of a kit's rule after its first use waits for every sharer's consent.
CREATE TABLE terms_changes (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    kit_id text COLLATE "C" NOT NULL,
    share_rule text NOT NULL CHECK (share_rule IN ('by_area', 'by_roll', 'equally', 'weighted')),
    unused_falls_on text NOT NULL CHECK (unused_falls_on IN ('users', 'subscribers', 'fund')),
    spoiled_falls_on text NOT NULL CHECK (spoiled_falls_on IN ('as_unused', 'sharers', 'fund')),
    reason text NOT NULL,
    proposed_by text COLLATE "C" NOT NULL,
    proposed_at timestamptz NOT NULL,
    applied_at timestamptz,
    withdrawn_at timestamptz,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT terms_changes_kit FOREIGN KEY (lab_id, kit_id) REFERENCES kits,
    CONSTRAINT terms_changes_proposer FOREIGN KEY (lab_id, proposed_by) REFERENCES members
);
CREATE UNIQUE INDEX terms_changes_one_open ON terms_changes (lab_id, kit_id) WHERE applied_at IS NULL AND withdrawn_at IS NULL;

CREATE TABLE consents (
    lab_id text COLLATE "C" NOT NULL,
    change_id text COLLATE "C" NOT NULL,
    member_id text COLLATE "C" NOT NULL,
    recorded_by text COLLATE "C" NOT NULL,      -- the member, or the treasurer for them
    note text NOT NULL,
    at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, change_id, member_id),
    CONSTRAINT consents_change FOREIGN KEY (lab_id, change_id) REFERENCES terms_changes,
    CONSTRAINT consents_member FOREIGN KEY (lab_id, member_id) REFERENCES members,
    CONSTRAINT consents_recorder FOREIGN KEY (lab_id, recorded_by) REFERENCES members
);

-- Rolls that the fund pays for.
CREATE TABLE free_rolls (
    lab_id text COLLATE "C" NOT NULL,
    roll_id text COLLATE "C" NOT NULL,
    reason text NOT NULL,
    given_by text COLLATE "C" NOT NULL,
    given_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, roll_id),
    CONSTRAINT free_rolls_roll FOREIGN KEY (lab_id, roll_id) REFERENCES rolls,
    CONSTRAINT free_rolls_giver FOREIGN KEY (lab_id, given_by) REFERENCES members
);

-- What members paid each other or the fund; the books know of it once the payee confirms.
CREATE TABLE payments (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    payer text COLLATE "C",                     -- null: the fund
    payee text COLLATE "C",
    amount_minor bigint NOT NULL CHECK (amount_minor BETWEEN 1 AND 1000000000000),
    paid_on date NOT NULL,
    reference text NOT NULL,
    note text NOT NULL,
    state text NOT NULL CHECK (state IN ('recorded', 'confirmed', 'declined', 'reversed')),
    recorded_by text COLLATE "C" NOT NULL,
    recorded_at timestamptz NOT NULL,
    answered_by text COLLATE "C",
    answered_at timestamptz,
    entry_id text COLLATE "C",
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT payments_payer FOREIGN KEY (lab_id, payer) REFERENCES members,
    CONSTRAINT payments_payee FOREIGN KEY (lab_id, payee) REFERENCES members,
    CONSTRAINT payments_recorder FOREIGN KEY (lab_id, recorded_by) REFERENCES members,
    CONSTRAINT payments_entry FOREIGN KEY (lab_id, entry_id) REFERENCES entries,
    CONSTRAINT payments_not_to_oneself CHECK (payer IS DISTINCT FROM payee)
);

-- The months whose books are closed, with every account's balance at their end.
CREATE TABLE closed_months (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    month text COLLATE "C" NOT NULL CHECK (month ~ '^[0-9]{4}-(0[1-9]|1[0-2])$'),
    ends_at timestamptz NOT NULL,
    balances jsonb NOT NULL,
    closed_by text COLLATE "C" NOT NULL,
    closed_at timestamptz NOT NULL,
    PRIMARY KEY (lab_id, month),
    CONSTRAINT closed_months_closer FOREIGN KEY (lab_id, closed_by) REFERENCES members,
    CONSTRAINT closed_months_over CHECK (ends_at <= closed_at)
);

-- Entries say what they were reckoned from; they belong to the transaction
-- that wrote them, and lines cannot be added to them later.
ALTER TABLE entries
    ADD COLUMN basis jsonb,
    ADD COLUMN payment_id text COLLATE "C",
    ADD COLUMN nth int NOT NULL DEFAULT 1,
    ADD COLUMN written_in xid8 NOT NULL DEFAULT pg_current_xact_id(),
    DROP CONSTRAINT entries_kind_check,
    ADD CONSTRAINT entries_kind_check CHECK (kind IN ('purchase', 'run_charge', 'surcharge', 'closing', 'payment', 'write_off', 'reversal')),
    ADD CONSTRAINT entries_reversal CHECK ((kind = 'reversal') = (reverses IS NOT NULL)),
    ADD CONSTRAINT entries_payment FOREIGN KEY (lab_id, payment_id) REFERENCES payments;

-- A run is charged once for each kit, a kit is bought and closed once, and
-- again only once that was reversed: nth counts, and has no gaps.
DROP INDEX entries_run_once, entries_purchase_once, entries_closing_once;
CREATE UNIQUE INDEX entries_run_once ON entries (lab_id, run_id, kit_id, nth) WHERE kind = 'run_charge';
CREATE UNIQUE INDEX entries_surcharge_once ON entries (lab_id, run_id, nth) WHERE kind = 'surcharge';
CREATE UNIQUE INDEX entries_purchase_once ON entries (lab_id, kit_id, nth) WHERE kind = 'purchase';
CREATE UNIQUE INDEX entries_closing_once ON entries (lab_id, kit_id, nth) WHERE kind = 'closing';
CREATE UNIQUE INDEX entries_payment_once ON entries (lab_id, payment_id) WHERE kind = 'payment';
CREATE INDEX entries_by_run ON entries (lab_id, run_id) WHERE run_id IS NOT NULL;
CREATE INDEX entries_by_time ON entries (lab_id, at, id);

-- +goose StatementBegin
CREATE FUNCTION entry_admitted() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    before bigint;
    undone bigint;
    undoes text;
BEGIN
    IF EXISTS (SELECT FROM closed_months WHERE lab_id = NEW.lab_id AND ends_at > NEW.at) THEN
        RAISE EXCEPTION 'the month of % is closed', NEW.at
            USING ERRCODE = 'check_violation', CONSTRAINT = 'entries_month_open';
    END IF;
    IF NEW.reverses IS NOT NULL THEN
        SELECT kind INTO undoes FROM entries WHERE lab_id = NEW.lab_id AND id = NEW.reverses;
        IF undoes = 'reversal' THEN
            RAISE EXCEPTION 'a reversal is not reversed'
                USING ERRCODE = 'check_violation', CONSTRAINT = 'entries_no_double_reversal';
        END IF;
    END IF;
    NEW.nth := 1;
    NEW.written_in := pg_current_xact_id();
    IF NEW.kind IN ('purchase', 'run_charge', 'closing', 'surcharge') THEN
        SELECT count(*), count(r.id) INTO before, undone
        FROM entries e
        LEFT JOIN entries r ON r.lab_id = e.lab_id AND r.reverses = e.id
        WHERE e.lab_id = NEW.lab_id AND e.kind = NEW.kind AND e.kit_id = NEW.kit_id AND e.run_id IS NOT DISTINCT FROM NEW.run_id;
        IF before > undone THEN
            RAISE EXCEPTION 'this is in the books already'
                USING ERRCODE = 'unique_violation', CONSTRAINT = CASE NEW.kind
                    WHEN 'run_charge' THEN 'entries_run_once'
                    ELSE 'entries_' || NEW.kind || '_once' END;
        END IF;
        NEW.nth := before + 1;
    END IF;
    RETURN NEW;
END $$;

CREATE FUNCTION posting_admitted() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NOT EXISTS (SELECT FROM entries
        WHERE lab_id = NEW.lab_id AND id = NEW.entry_id AND written_in = pg_current_xact_id()) THEN
        RAISE EXCEPTION 'entry % was written before: nothing is added to it', NEW.entry_id
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'books_append_only';
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd

CREATE TRIGGER entries_admitted BEFORE INSERT ON entries FOR EACH ROW EXECUTE FUNCTION entry_admitted();
CREATE TRIGGER postings_admitted AFTER INSERT ON postings FOR EACH ROW EXECUTE FUNCTION posting_admitted();
CREATE TRIGGER closed_months_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON closed_months
    FOR EACH STATEMENT EXECUTE FUNCTION append_only();
CREATE TRIGGER consents_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON consents
    FOR EACH STATEMENT EXECUTE FUNCTION append_only();

-- The program works as this role, which owns nothing: it cannot change what is
-- in the books, nor switch the triggers off. Roles are the whole server's, so
-- another database may have made it, at this very moment even.
-- +goose StatementBegin
DO $$
BEGIN
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'wetside_app') THEN
        CREATE ROLE wetside_app NOLOGIN;
    END IF;
EXCEPTION
    WHEN duplicate_object OR unique_violation THEN NULL;
    WHEN insufficient_privilege THEN
        RAISE EXCEPTION 'the role wetside_app is missing and this one may not create roles'
            USING HINT = 'As a superuser: CREATE ROLE wetside_app NOLOGIN; GRANT wetside_app TO the database''s owner';
END $$;
-- From 16 on, who makes a role is a member of it, but may not become it unless that is granted too.
DO $$
DECLARE
    may boolean;
BEGIN
    EXECUTE format('SELECT pg_has_role(''wetside_app'', %L)',
        CASE WHEN current_setting('server_version_num')::int >= 160000 THEN 'SET' ELSE 'MEMBER' END) INTO may;
    IF NOT may THEN
        EXECUTE format('GRANT wetside_app TO %I', current_user);
    END IF;
END $$;
-- +goose StatementEnd
GRANT USAGE ON SCHEMA public TO wetside_app;
GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO wetside_app;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO wetside_app;
ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO wetside_app;
ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT USAGE ON SEQUENCES TO wetside_app;
REVOKE UPDATE, DELETE ON entries, postings, closed_months, consents FROM wetside_app;
REVOKE INSERT, UPDATE, DELETE ON goose_db_version FROM wetside_app;

-- +goose Down
ALTER DEFAULT PRIVILEGES IN SCHEMA public REVOKE ALL ON TABLES FROM wetside_app;
ALTER DEFAULT PRIVILEGES IN SCHEMA public REVOKE ALL ON SEQUENCES FROM wetside_app;
REVOKE ALL ON ALL TABLES IN SCHEMA public FROM wetside_app;
REVOKE ALL ON ALL SEQUENCES IN SCHEMA public FROM wetside_app;
REVOKE ALL ON SCHEMA public FROM wetside_app;
DROP TRIGGER entries_admitted ON entries;
DROP TRIGGER postings_admitted ON postings;
DROP FUNCTION entry_admitted();
DROP FUNCTION posting_admitted();
DROP INDEX entries_run_once, entries_surcharge_once, entries_purchase_once, entries_closing_once, entries_payment_once,
    entries_by_run, entries_by_time;
-- What only the newer program writes stands in the way of the older one's rules: such books are not taken back.
ALTER TABLE entries DROP CONSTRAINT entries_payment, DROP CONSTRAINT entries_reversal, DROP CONSTRAINT entries_kind_check,
    ADD CONSTRAINT entries_kind_check CHECK (kind IN ('purchase', 'run_charge', 'closing', 'reversal')),
    DROP COLUMN basis, DROP COLUMN payment_id, DROP COLUMN nth, DROP COLUMN written_in;
CREATE UNIQUE INDEX entries_run_once ON entries (lab_id, run_id, kit_id) WHERE kind = 'run_charge';
CREATE UNIQUE INDEX entries_purchase_once ON entries (lab_id, kit_id) WHERE kind = 'purchase';
CREATE UNIQUE INDEX entries_closing_once ON entries (lab_id, kit_id) WHERE kind = 'closing';
DROP TABLE closed_months, payments, free_rolls, consents, terms_changes, subscriptions, kit_terms, money_rules;
ALTER TABLE kits DROP CONSTRAINT kits_share_rule_check,
    ADD CONSTRAINT kits_share_rule_check CHECK (share_rule IN ('by_area', 'by_roll', 'equally'));
ALTER TABLE members DROP CONSTRAINT members_host, DROP COLUMN guest_of;
