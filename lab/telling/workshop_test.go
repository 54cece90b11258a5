package telling_test

import (
	"testing"

	"wetside/lab/jobs/jobstest"
	"wetside/lab/telling"
)

// workshop is a lab with members: ann keeps it, bea and cal are stewards, cal
// has left, dov is a guest of bea's.
type workshop struct {
	*jobstest.Bench
	t *testing.T
}

func newWorkshop(t *testing.T) *workshop {
	t.Helper()
	w := &workshop{jobstest.New(t), t}
	_, err := w.Pool.Exec(t.Context(), `
		INSERT INTO members (lab_id, id, name, roles, joined_at, left_at, guest_of) VALUES
			('lab_1', 'ann', 'Ann', '{member,keeper}', now(), NULL, NULL),
			('lab_1', 'bea', 'Bea', '{member,steward}', now(), NULL, NULL),
			('lab_1', 'cal', 'Cal', '{member,steward}', now(), now(), NULL),
			('lab_1', 'dov', 'Dov', '{member}', now(), NULL, 'bea')`)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// engage starts an engine for what is told.
func (w *workshop) engage(cfg telling.Config) {
	w.t.Helper()
	w.Engage(telling.Works(cfg)...)
}
