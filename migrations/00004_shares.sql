-- +goose Up
-- Double-entry book-keeping, append-only. A positive amount is a debit: what a
-- member owes the co-op, what a kit has cost. The database refuses an entry
-- that does not balance, and any change of what is written.
CREATE TABLE entries (
    lab_id text COLLATE "C" NOT NULL REFERENCES labs,
    id text COLLATE "C" NOT NULL,
    at timestamptz NOT NULL,
    kind text NOT NULL CHECK (kind IN ('purchase', 'run_charge', 'closing', 'reversal')),
    text text NOT NULL,
    kit_id text COLLATE "C",
    run_id text COLLATE "C",
    reverses text COLLATE "C",
    made_by text COLLATE "C" NOT NULL,
    PRIMARY KEY (lab_id, id),
    CONSTRAINT entries_kit FOREIGN KEY (lab_id, kit_id) REFERENCES kits,
    CONSTRAINT entries_run FOREIGN KEY (lab_id, run_id) REFERENCES runs,
    CONSTRAINT entries_maker FOREIGN KEY (lab_id, made_by) REFERENCES members,
    CONSTRAINT entries_reverses FOREIGN KEY (lab_id, reverses) REFERENCES entries,
    CONSTRAINT entries_reversed_once UNIQUE (lab_id, reverses)
);
CREATE INDEX entries_by_kit ON entries (lab_id, kit_id, id);
-- A run is charged once for each kit, a kit is bought and closed once.
CREATE UNIQUE INDEX entries_run_once ON entries (lab_id, run_id, kit_id) WHERE kind = 'run_charge';
CREATE UNIQUE INDEX entries_purchase_once ON entries (lab_id, kit_id) WHERE kind = 'purchase';
CREATE UNIQUE INDEX entries_closing_once ON entries (lab_id, kit_id) WHERE kind = 'closing';

CREATE TABLE postings (
    lab_id text COLLATE "C" NOT NULL,
    entry_id text COLLATE "C" NOT NULL,
    line int NOT NULL CHECK (line > 0),
    -- the account: a member, a kit, or the co-op's fund
    account text NOT NULL CHECK (account IN ('member', 'kit', 'fund')),
    member_id text COLLATE "C",
    kit_id text COLLATE "C",
    roll_id text COLLATE "C",                   -- the roll a charge is for
    area_mm2 bigint,                            -- what it was charged by
    amount_minor bigint NOT NULL CHECK (abs(amount_minor) <= 1000000000000),
    PRIMARY KEY (lab_id, entry_id, line),
    CONSTRAINT postings_entry FOREIGN KEY (lab_id, entry_id) REFERENCES entries,
    CONSTRAINT postings_member FOREIGN KEY (lab_id, member_id) REFERENCES members,
    CONSTRAINT postings_kit FOREIGN KEY (lab_id, kit_id) REFERENCES kits,
    CONSTRAINT postings_roll FOREIGN KEY (lab_id, roll_id) REFERENCES rolls,
    CONSTRAINT postings_account CHECK (
        (member_id IS NOT NULL) = (account = 'member') AND (kit_id IS NOT NULL) = (account = 'kit'))
);
CREATE INDEX postings_by_member ON postings (lab_id, member_id, entry_id) WHERE account = 'member';
CREATE INDEX postings_by_kit ON postings (lab_id, kit_id, entry_id) WHERE account = 'kit';

-- +goose StatementBegin
CREATE FUNCTION entry_balances() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    total numeric;
    lines bigint;
    entry record;
BEGIN
    IF TG_TABLE_NAME = 'entries' THEN
        SELECT NEW.lab_id AS lab, NEW.id AS id INTO entry;
    ELSE
        SELECT NEW.lab_id AS lab, NEW.entry_id AS id INTO entry;
    END IF;
    SELECT coalesce(sum(amount_minor), 0), count(*) INTO total, lines
    FROM postings WHERE lab_id = entry.lab AND entry_id = entry.id;
    IF total <> 0 OR lines < 2 THEN
        RAISE EXCEPTION 'entry % does not balance: % lines, sum %', entry.id, lines, total
            USING ERRCODE = 'check_violation', CONSTRAINT = 'entries_balance';
    END IF;
    RETURN NULL;
END $$;

CREATE FUNCTION append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'the books are append-only: correct by a reversal'
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'books_append_only';
END $$;
-- +goose StatementEnd

CREATE CONSTRAINT TRIGGER entries_balance AFTER INSERT ON entries
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION entry_balances();
CREATE CONSTRAINT TRIGGER postings_balance AFTER INSERT ON postings
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION entry_balances();
CREATE TRIGGER entries_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON entries
    FOR EACH STATEMENT EXECUTE FUNCTION append_only();
CREATE TRIGGER postings_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON postings
    FOR EACH STATEMENT EXECUTE FUNCTION append_only();

-- +goose Down
DROP TABLE postings, entries;
DROP FUNCTION append_only();
DROP FUNCTION entry_balances();
