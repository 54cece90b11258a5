-- +goose Up
-- Row security: in a transaction of the role wetside_app rows of any other lab
-- than the setting wetside.lab names are not there: they are neither read nor
-- changed nor made, whatever a statement forgets to ask for. Without the
-- setting none are.
--
-- The tables' owner is not held to it (no FORCE): migrations change every lab's
-- rows, and the functions below look across labs on purpose. The role owns
-- nothing, is in no other role, and cannot bypass row security; a server that
-- logs in as a role that owns nothing cannot either.
--
-- What crosses labs, and nothing else may:
--   every_lab              the setup code lists labs, and jobs go through them
--   lab_of_sign_in_code    who signs in by a code names no lab: the code is of one
--   forget_first_answers   first answers are swept by age
-- and idempotency_keys has a rule of its own: it belongs to callers, whose
-- name begins with their lab; the setup code's is without one.
--
-- A later migration that makes a table with lab_id ends with
--     SELECT guard_lab('the_table');
-- A test fails for a table that lacks it.

-- +goose StatementBegin
CREATE FUNCTION guard_lab(guarded regclass, lab_column name DEFAULT 'lab_id') RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    EXECUTE format('ALTER TABLE %s ENABLE ROW LEVEL SECURITY', guarded);
    EXECUTE format('CREATE POLICY own_lab ON %s TO wetside_app'
        ' USING (%2$I = current_setting(''wetside.lab'', true))'
        ' WITH CHECK (%2$I = current_setting(''wetside.lab'', true))', guarded, lab_column);
END $$;
DO $$
DECLARE
    found regclass;
BEGIN
    PERFORM guard_lab('labs', 'id');
    FOR found IN
        SELECT c.oid FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
            AND a.attname = 'lab_id' AND NOT a.attisdropped AND NOT c.relrowsecurity
    LOOP
        PERFORM guard_lab(found);
    END LOOP;
END $$;
-- +goose StatementEnd

ALTER TABLE idempotency_keys ENABLE ROW LEVEL SECURITY;
CREATE POLICY own_lab ON idempotency_keys TO wetside_app
    USING (split_part(principal, '/', 1) IN ('', current_setting('wetside.lab', true)))
    WITH CHECK (split_part(principal, '/', 1) IN ('', current_setting('wetside.lab', true)));

-- +goose StatementBegin
CREATE FUNCTION every_lab(after text, most bigint) RETURNS SETOF labs
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT * FROM labs WHERE id > after ORDER BY id LIMIT most
$$;
CREATE FUNCTION lab_of_sign_in_code(hash bytea) RETURNS text
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT lab_id FROM sign_in_codes WHERE code_sha256 = hash
$$;
CREATE FUNCTION forget_first_answers(before timestamptz) RETURNS bigint
LANGUAGE sql VOLATILE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    WITH gone AS (DELETE FROM idempotency_keys WHERE created_at < before RETURNING 1)
    SELECT count(*) FROM gone
$$;
-- +goose StatementEnd
REVOKE EXECUTE ON FUNCTION guard_lab(regclass, name), every_lab(text, bigint), lab_of_sign_in_code(bytea),
    forget_first_answers(timestamptz) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION every_lab(text, bigint), lab_of_sign_in_code(bytea), forget_first_answers(timestamptz)
    TO wetside_app;

-- +goose Down
DROP FUNCTION forget_first_answers(timestamptz);
DROP FUNCTION lab_of_sign_in_code(bytea);
DROP FUNCTION every_lab(text, bigint);
-- +goose StatementBegin
DO $$
DECLARE
    guarded regclass;
BEGIN
    FOR guarded IN SELECT polrelid FROM pg_policy WHERE polname = 'own_lab' LOOP
        EXECUTE format('DROP POLICY own_lab ON %s', guarded);
        EXECUTE format('ALTER TABLE %s DISABLE ROW LEVEL SECURITY', guarded);
    END LOOP;
END $$;
-- +goose StatementEnd
DROP FUNCTION guard_lab(regclass, name);
