package api_test

import (
	"net/http"
	"testing"

	"wetside/api/apitest"
	"wetside/chemistry/shares"
	"wetside/lab"
)

// explained holds every member's explanation against their statement, and the
// closed kit's report against its closing.
func (s *story) explained(t *testing.T) {
	c := s.treasurer.For(t)
	for _, m := range list[lab.Member](t, s.treasurer, "members") {
		st := apitest.As[shares.Statement](c.Get(c.Path("members", m.ID, "statement")).Want(http.StatusOK))
		why := apitest.As[shares.Explanation](c.Get(c.Path("members", m.ID, "explanation")).Want(http.StatusOK))
		if why.Balance != st.Closing {
			t.Errorf("%s: the reasons come to %d, the statement to %d", m.Name, why.Balance, st.Closing)
		}
		for _, r := range why.Reasons {
			if len(r.Steps) == 0 || r.Steps[len(r.Steps)-1].Result != r.Amount {
				t.Errorf("%s: %s of %d is not explained: %+v", m.Name, r.Kind, r.Amount, r.Steps)
			}
			if charge := r.Kind == shares.RunCharge; charge && (r.Run == "" || r.Roll == "" || r.Kit == "") {
				t.Errorf("%s: a charge leads back to run %q, roll %q, kit %q", m.Name, r.Run, r.Roll, r.Kit)
			}
		}
	}
	first, second := s.FirstClosing, s.Closing
	f := apitest.As[shares.Fairness](c.Get(c.Path("kits", second.Kit, "fairness")).Want(http.StatusOK))
	if first.Rule == second.Rule || f.Ruled.Rule != second.Rule || f.WasteMinor != second.UnusedMinor {
		t.Errorf("closed by %s, then by %s; the report says %+v", first.Rule, second.Rule, f)
	}
	for _, o := range f.Otherwise {
		if o.Rule != first.Rule || o.UnusedFallsOn != first.UnusedFallsOn {
			continue
		}
		for i, share := range o.Shares {
			if share.Member != first.Shares[i].Member || share.Total != first.Shares[i].Total {
				t.Errorf("by the first rule the report has %+v, the closing had %+v", share, first.Shares[i])
			}
		}
	}
}

// corrected takes a run's charge back and makes it anew: in the end nobody owes
// another amount, and the books have both.
func (s *story) corrected(t *testing.T) {
	c := s.treasurer.For(t)
	before := apitest.As[shares.LabSettlement](c.Get(c.Path("settlement")).Want(http.StatusOK))
	var charge shares.Entry
	for _, e := range list[shares.Entry](t, s.treasurer, "entries") {
		if e.Kind == shares.RunCharge && e.Kit != s.Closing.Kit {
			charge = e
		}
	}
	anew := c.Path("runs", charge.Run, "charge")
	c.Post(anew, nil).WantProblem(http.StatusConflict, "run-already-charged")
	back := apitest.As[shares.Entry](c.Post(c.Path("entries", charge.ID, "reversal"), map[string]string{"reason": "The wrong kit"}).Want(http.StatusCreated))
	again := apitest.As[shares.Entry](c.Post(anew, nil).Want(http.StatusOK))
	if back.Reverses != charge.ID || again.ID == charge.ID || len(again.Postings) != len(charge.Postings) {
		t.Errorf("charge %+v, reversal %+v, charge anew %+v", charge, back, again)
	}
	c.Post(anew, nil).WantProblem(http.StatusConflict, "run-already-charged")
	after := apitest.As[shares.LabSettlement](c.Get(c.Path("settlement")).Want(http.StatusOK))
	for i, b := range before.Balances {
		if after.Balances[i] != b {
			t.Errorf("balance %+v became %+v", b, after.Balances[i])
		}
	}
	for _, e := range list[shares.Entry](t, s.treasurer, "entries") {
		if e.Kind == shares.RunCharge && e.Kit == s.Closing.Kit {
			c.Post(c.Path("entries", e.ID, "reversal"), map[string]string{"reason": "too late"}).WantProblem(http.StatusConflict, "kit-closed")
			break
		}
	}
}
