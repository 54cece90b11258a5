package api_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"wetside/api/apitest"
	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/scheduling"
)

// Somebody with charges of runs, a share in a closed kit and payments is erased
// once all is settled: the books are as they were to the last line, but for the
// name. Then every table is tried for what the export and the erasure have of it.
func TestErasureKeepsTheBooks(t *testing.T) {
	t.Parallel()
	s := newStory(t, time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC), 0)
	later := time.Date(2026, 12, 28, 12, 0, 0, 0, time.UTC)
	treasurer, steward := s.treasurer.At(later), s.steward.At(later)
	sione := steward.WithToken(s.Tokens["sione"])
	sione.MemberID = s.People["sione"]
	keeper := steward.WithToken(s.Tokens["orla"])
	who := treasurer.Path("members", sione.MemberID)
	name := apitest.As[lab.Member](treasurer.Get(who).Want(http.StatusOK)).Name

	charges := 0
	for _, e := range list[shares.Entry](t, treasurer, "entries") {
		for _, p := range e.Postings {
			if p.Member == sione.MemberID && (e.Kind == shares.RunCharge || e.Kind == shares.FinalCost) {
				charges++
			}
		}
	}
	settlement := func() shares.LabSettlement {
		return apitest.As[shares.LabSettlement](treasurer.Get(treasurer.Path("settlement")).Want(http.StatusOK))
	}
	payments := 0
	for _, p := range settlement().Payments {
		if p.From != sione.MemberID && p.To != sione.MemberID {
			continue
		}
		payments++
		paid := treasurer.Post(treasurer.Path("payments"), map[string]any{"from": orFund(p.From), "to": orFund(p.To),
			"amount": price(p.Amount), "paid_on": "2026-12-27", "note": "By " + name}).Want(http.StatusCreated)
		at := paid.Header("Location")
		payee := treasurer
		for key, id := range s.People {
			if id == p.To {
				payee = steward.WithToken(s.Tokens[key])
			}
		}
		payee.With("If-Match", paid.ETag()).Post(at+"/answer", map[string]any{"received": true}).Want(http.StatusOK)
	}
	if charges < 2 || payments == 0 {
		t.Fatalf("the story leaves %d charges and %d payments", charges, payments)
	}

	// Film leaves the lab, places and waits are given back: not before is anybody erased.
	waits := sione.Post(sione.Path("rolls"), map[string]any{"format": "135-36", "process": "c-41"}).Want(http.StatusCreated)
	wait := sione.Post(sione.Path("waiting-list"), map[string]any{"rolls": []string{apitest.As[scheduling.Roll](waits).ID},
		"from": later.AddDate(0, 0, 7), "until": later.AddDate(0, 0, 9)}).Want(http.StatusCreated)
	exported := apitest.As[lab.PersonalData](sione.Get(who + "/personal-data").Want(http.StatusOK))
	for _, table := range []string{"rolls", "waiting_entries", "waiting_rolls", "batch_rolls", "postings", "entries",
		"payments", "sign_ins", "refresh_tokens", "messages", "audit_log"} {
		if len(exported.Records[table]) == 0 {
			t.Errorf("the export lacks %s", table)
		}
	}
	if len(exported.Records["entries"]) < charges {
		t.Errorf("%d charges, and %d entries in the export", charges, len(exported.Records["entries"]))
	}
	treasurer.Post(who+"/erasure", nil).WantProblem(http.StatusForbidden, "forbidden")
	film := list[scheduling.Roll](t, sione, "rolls")
	keeper.Post(who+"/departure", nil).Want(http.StatusOK)
	keeper.Post(who+"/erasure", nil).WantProblem(http.StatusConflict, "member-has-bookings")
	steward.Delete(wait.Header("Location"), wait.ETag()).Want(http.StatusNoContent)
	keeper.Post(who+"/erasure", nil).WantProblem(http.StatusConflict, "member-has-film")
	for left := 1; left > 0; { // those that mix for others come last
		before := left
		left = 0
		for _, b := range list[scheduling.Batch](t, steward, "batches") {
			path := steward.Path("batches", b.ID)
			if b.Status == scheduling.BatchPlanned && steward.With("If-Match", steward.Get(path).ETag()).Post(path+"/cancellation", nil).Status != http.StatusOK {
				left++
			}
		}
		if before > 1 && left >= before {
			t.Fatalf("%d batches cannot be cancelled", left)
		}
	}
	for _, roll := range film {
		path := steward.Path("rolls", roll.ID)
		switch apitest.As[scheduling.Roll](steward.Get(path).Want(http.StatusOK)).Status {
		case scheduling.OnShelf:
			steward.Delete(path, steward.Get(path).ETag()).Want(http.StatusNoContent)
		case scheduling.Ready:
			steward.Post(path+"/collection", nil).Want(http.StatusOK)
		}
	}

	journal := func() string {
		return string(treasurer.Get(treasurer.Path("journal")).Want(http.StatusOK).Body)
	}
	books, settled := journal(), settlement()
	erased := apitest.As[lab.Member](keeper.Post(who+"/erasure", nil).Want(http.StatusOK))
	if !strings.HasPrefix(erased.Name, "Former member ") {
		t.Errorf("what stays is called %s", erased.Name)
	}
	if !strings.Contains(books, name) {
		t.Error("the journal had not the name")
	}
	if after := journal(); after != strings.ReplaceAll(books, name, erased.Name) {
		t.Errorf("the journal was\n%s\nand is\n%s", books, after)
	}
	if after := settlement(); !cmp.Equal(after, settled) {
		t.Errorf("the settlement has changed: %s", cmp.Diff(settled, after))
	}
	if left := apitest.As[shares.Explanation](treasurer.Get(who + "/explanation").Want(http.StatusOK)); left.Balance != 0 || len(left.Reasons) < charges+payments {
		t.Errorf("the account is explained by %+v", left)
	}
	sione.Get(sione.Path()).WantProblem(http.StatusUnauthorized, "unauthenticated")
	t.Run("tables", func(t *testing.T) { tryEveryTable(t, s) })
}

func orFund(party string) string {
	if party == "" {
		return shares.TheFund
	}
	return party
}
