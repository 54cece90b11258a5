package api_test

import (
	"net/http"
	"slices"
	"testing"

	"wetside/api/apitest"
	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/scheduling"
)

func (s *story) ran(t *testing.T) {
	batches := map[string]scheduling.Batch{}
	for _, b := range list[scheduling.Batch](t, s.steward, "batches") {
		batches[b.ID] = b
	}
	area, runs := map[string]int64{}, map[string]int64{} // by bath set
	charges := map[string]shares.Entry{}                 // by run
	for _, e := range list[shares.Entry](t, s.treasurer, "entries") {
		if e.Kind == shares.RunCharge {
			charges[e.Run] = e
		}
	}
	spoiled := 0
	for _, run := range list[scheduling.Run](t, s.steward, "runs") {
		b := batches[run.Batch]
		area[*b.BathSet] += run.AreaMM2
		runs[*b.BathSet]++
		charge, charged := charges[run.ID]
		if run.Outcome == scheduling.RunSpoiled {
			spoiled++
			if charged {
				t.Error("a spoiled run was charged")
			}
			continue
		}
		var rolls []string
		var sum, used int64
		for _, p := range charge.Postings {
			sum += p.Amount
			used += p.AreaMM2
			if p.Roll != "" {
				rolls = append(rolls, p.Roll)
			}
		}
		if len(rolls) != len(b.Rolls) || sum != 0 || used != run.AreaMM2 {
			t.Errorf("a run of %d rolls, %d mm², is charged for %d rolls, %d mm², and is out by %d", len(b.Rolls), run.AreaMM2, len(rolls), used, sum)
		}
	}
	if spoiled != 1 {
		t.Errorf("%d runs were spoiled, want 1", spoiled)
	}
	for _, set := range list[chemistry.BathSet](t, s.steward, "bath-sets") {
		for _, bath := range set.Baths {
			if bath.UsedAreaMM2 != area[set.ID] || bath.UsedRuns != runs[set.ID] {
				t.Errorf("%s of %s has seen %d mm² in %d runs, its runs were %d mm² in %d", bath.Role, set.Process, bath.UsedAreaMM2, bath.UsedRuns, area[set.ID], runs[set.ID])
			}
		}
	}
	if len(s.Drying) == 0 || len(s.Drying) != len(s.Ready) {
		t.Errorf("%d rolls were seen drying, %d dry", len(s.Drying), len(s.Ready))
	}
	for i := range s.Drying {
		if s.Drying[i].Status != scheduling.Drying || s.Ready[i].Status != scheduling.Ready {
			t.Errorf("a roll was %s after its run, and %s once dry", s.Drying[i].Status, s.Ready[i].Status)
		}
	}
}

func (s *story) settled(t *testing.T) {
	c := s.Closing
	var total, provisional int64
	unused := c.UnusedMinor
	for _, share := range c.Shares {
		total += share.Total
		provisional += share.Provisional
		unused -= share.Unused
		if share.Used+share.Unused != share.Total || share.Provisional+share.Adjustment != share.Total {
			t.Errorf("a share does not add up: %+v", share)
		}
		if share.Member == "" {
			t.Errorf("the fund pays %d of a kit whose waste its users bear", share.Total)
		}
	}
	if total != c.Price.Amount || provisional >= total || unused != 0 {
		t.Errorf("shares of %d add up to %d, charged before %d, unused out by %d", c.Price.Amount, total, provisional, unused)
	}
	if c.SpoiledMinor <= 0 || c.UnusedMinor <= c.SpoiledMinor {
		t.Errorf("the kit had no waste: %+v", c)
	}
	account := apitest.As[shares.KitAccount](s.treasurer.For(t).Get(s.treasurer.Path("kits", c.Kit, "account")).Want(http.StatusOK))
	if account.Balance != 0 {
		t.Errorf("the closed kit's account is left with %d", account.Balance)
	}

	settlement := apitest.As[shares.LabSettlement](s.treasurer.For(t).Get(s.treasurer.Path("settlement")).Want(http.StatusOK))
	balance := map[string]int64{}
	var sum int64
	for _, b := range settlement.Balances {
		balance[b.Member] = b.Amount
		sum += b.Amount
	}
	if sum != 0 {
		t.Errorf("balances add up to %d", sum)
	}
	for _, m := range list[lab.Member](t, s.treasurer, "members") {
		s.statement(t, m, balance[m.ID])
	}
	for _, p := range settlement.Payments {
		balance[p.From] -= p.Amount
		balance[p.To] += p.Amount
	}
	for who, left := range balance {
		if left != 0 {
			t.Errorf("payments leave %q with %d", who, left)
		}
	}
	if len(settlement.Payments) > settlement.AtMost {
		t.Errorf("%d payments, more than %d", len(settlement.Payments), settlement.AtMost)
	}
}

// statement holds a member's statement against their balance and, for the
// closed kit, their share.
func (s *story) statement(t *testing.T, m lab.Member, balance int64) {
	t.Helper()
	st := apitest.As[shares.Statement](s.treasurer.For(t).Get(s.treasurer.Path("members", m.ID, "statement")).Want(http.StatusOK))
	var sum, ofKit int64
	for _, l := range st.Lines {
		if sum += l.Amount; l.Balance != sum {
			t.Errorf("%s: balance %d after %d", m.Name, l.Balance, sum)
		}
		if l.Kit == s.Closing.Kit && l.Kind != shares.Purchase {
			ofKit += l.Amount
		}
	}
	if st.Closing != sum || sum != balance {
		t.Errorf("%s: statement closes at %d, its lines are %d, the settlement has %d", m.Name, st.Closing, sum, balance)
	}
	var share int64
	if at := slices.IndexFunc(s.Closing.Shares, func(x shares.Share) bool { return x.Member == m.ID }); at >= 0 {
		share = s.Closing.Shares[at].Total
	}
	if ofKit != share {
		t.Errorf("%s was charged %d for the closed kit, the share is %d", m.Name, ofKit, share)
	}
}

func (s *story) private(t *testing.T) {
	hana := s.hana.For(t)
	for _, r := range list[scheduling.Roll](t, s.hana, "rolls") {
		if r.Member != s.People["hana"] {
			t.Errorf("a member sees another's roll in their list")
		}
	}
	others := s.Rolls["farida-cine-1"]
	hana.Get(hana.Path("rolls", others)).WantProblem(http.StatusNotFound, "not-found")
	hana.Get(hana.Path("members", s.People["farida"], "statement")).WantProblem(http.StatusNotFound, "not-found")
	hana.Get(hana.Path("settlement")).WantProblem(http.StatusForbidden, "forbidden")
	monday := apitest.As[scheduling.OpenSession](s.farida.For(t).Get(s.farida.Path("sessions", s.session(t, "Mon", 0))).Want(http.StatusOK))
	same := apitest.As[scheduling.OpenSession](hana.Get(hana.Path("sessions", monday.ID)).Want(http.StatusOK))
	if len(monday.MyRolls) < 2 || len(same.MyRolls) != 0 || same.PlacesTaken != monday.PlacesTaken {
		t.Errorf("one member sees %d of %d places as theirs, another %d of %d", len(monday.MyRolls), monday.PlacesTaken, len(same.MyRolls), same.PlacesTaken)
	}
}
