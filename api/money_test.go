package api_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/api/apitest"
	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
)

// A purse is a lab with people to keep books of, by HTTP alone.
type purse struct {
	t                       *testing.T
	keeper, ann, bea, coral *apitest.Client // the keeper is treasurer and steward too
	now                     time.Time
}

func newPurse(t *testing.T) *purse {
	t.Helper()
	s := apitest.Start(t)
	now := time.Date(2026, 11, 10, 12, 0, 0, 0, time.UTC)
	p := &purse{t: t, keeper: s.Found(t, "Sallowmere Film Co-op").At(now), now: now}
	for _, who := range []struct {
		c    **apitest.Client
		name string
	}{{&p.ann, "Ann Tarrow"}, {&p.bea, "Bea Lindqvist"}, {&p.coral, "Coral Ibe"}} {
		*who.c = s.Join(t, p.keeper, who.name).At(now)
	}
	return p
}

// kit is a negative kit of 4 roll-equivalents for 60 €, with changes.
func (p *purse) kit(change map[string]any) map[string]any {
	in := map[string]any{
		"name": "Negative kit", "process": "c-41", "price": map[string]any{"amount": 6000, "currency": "EUR"},
		"bought_on": "2026-11-09", "portions": 1, "mix": "PT30M", "unopened_until": "2027-11-09T00:00:00Z",
		"opened_life": "P60D", "rated_area_mm2": 206452, "share_rule": "by_area", "unused_falls_on": "users",
	}
	baths := []map[string]any{}
	for _, role := range []string{"developer", "bleach", "fixer", "stabiliser"} {
		baths = append(baths, map[string]any{"role": role, "use": "reused", "volume_ml": 2000, "area_mm2": 825808, "life": "P60D"})
	}
	in["baths"] = baths
	for k, v := range change {
		in[k] = v
	}
	return in
}

func (p *purse) buy(change map[string]any) chemistry.Kit {
	p.t.Helper()
	return apitest.As[chemistry.Kit](p.keeper.Post(p.keeper.Path("kits"), p.kit(change)).Want(http.StatusCreated))
}

func (p *purse) terms(kit string) (shares.KitTerms, string) {
	p.t.Helper()
	r := p.ann.Get(p.ann.Path("kits", kit, "terms")).Want(http.StatusOK)
	return apitest.As[shares.KitTerms](r), r.ETag()
}

// settle is the balances, by member and "" for the fund.
func (p *purse) settle() map[string]int64 {
	p.t.Helper()
	out := map[string]int64{}
	s := apitest.As[shares.LabSettlement](p.keeper.Get(p.keeper.Path("settlement")).Want(http.StatusOK))
	for _, b := range s.Balances {
		out[b.Member] = b.Amount
	}
	return out
}

func price(amount any) map[string]any { return map[string]any{"amount": amount, "currency": "EUR"} }

func TestMoneyThatIsRefused(t *testing.T) {
	t.Parallel()
	p := newPurse(t)
	kits := p.keeper.Path("kits")
	for _, tt := range []struct {
		name   string
		change map[string]any
		code   string
	}{
		{"a price of zero", map[string]any{"price": price(0)}, "amount-not-positive"},
		{"a negative price", map[string]any{"price": price(-100)}, "amount-not-positive"},
		{"a price below 64 bits", map[string]any{"price": price(json.Number("-9223372036854775809"))}, "amount-not-positive"},
		{"a price beyond 64 bits", map[string]any{"price": price(json.Number("9223372036854775808"))}, "amount-too-large"},
		{"a price beyond all books", map[string]any{"price": price(1_000_000_000_001)}, "amount-too-large"},
		{"another currency", map[string]any{"price": map[string]any{"amount": 100, "currency": "USD"}}, "wrong-currency"},
		{"buyers who paid less", map[string]any{"buyers": []any{map[string]any{"member": p.ann.MemberID, "amount": 5999}}}, "buyers-do-not-add-up"},
		{"a buyer of nothing", map[string]any{"buyers": []any{map[string]any{"amount": 6000}, map[string]any{"member": p.ann.MemberID, "amount": 0}}}, "amount-not-positive"},
		{"an offer that is over", map[string]any{"offer": map[string]any{"until": "2026-11-01T00:00:00Z"}}, "invalid"},
	} {
		t.Run(tt.name, func(t *testing.T) { p.keeper.For(t).Post(kits, p.kit(tt.change)).WantProblem(422, tt.code) })
	}
	pay := map[string]any{"to": p.bea.MemberID, "amount": price(100), "paid_on": "2026-11-10"}
	for _, tt := range []struct {
		name   string
		change map[string]any
		status int
		code   string
	}{
		{"to oneself", map[string]any{"to": p.ann.MemberID}, 422, "payment-to-oneself"},
		{"of nothing", map[string]any{"amount": price(0)}, 422, "amount-not-positive"},
		{"of too much", map[string]any{"amount": price(json.Number("99999999999999999999"))}, 422, "amount-too-large"},
		{"in another currency", map[string]any{"amount": map[string]any{"amount": 1, "currency": "JPY"}}, 422, "wrong-currency"},
		{"of tomorrow", map[string]any{"paid_on": "2026-11-11"}, 422, "invalid"},
		{"from somebody else", map[string]any{"from": p.coral.MemberID}, 403, "forbidden"},
		{"of a mistyped reference", map[string]any{"reference": "RF18 5390 0754 7035"}, 422, "invalid"},
		{"to a stranger", map[string]any{"to": "member_" + strings.Repeat("0", 32)}, 422, "invalid"},
	} {
		t.Run("a payment "+tt.name, func(t *testing.T) {
			in := map[string]any{}
			for k, v := range pay {
				in[k] = v
			}
			for k, v := range tt.change {
				in[k] = v
			}
			p.ann.For(t).Post(p.ann.Path("payments"), in).WantProblem(tt.status, tt.code)
		})
	}
	if left := p.settle(); len(left) != 0 {
		t.Errorf("what was refused left balances %v", left)
	}
}

func TestKitIsBoughtBySeveralLater(t *testing.T) {
	t.Parallel()
	p := newPurse(t)
	kit := p.buy(map[string]any{"purchase_follows": true})
	closing := p.keeper.Path("kits", kit.ID, "closing")
	p.keeper.Post(closing, map[string]any{"because": "expired"}).WantProblem(409, "kit-not-bought")
	purchase := map[string]any{"price": price(6100), "bought_on": "2026-11-08", "receipt": "Counter slip 4711", "buyers": []any{
		map[string]any{"member": p.ann.MemberID, "amount": 4000}, map[string]any{"amount": 2100},
	}}
	path := p.keeper.Path("kits", kit.ID, "purchase")
	p.ann.Post(path, purchase).WantProblem(403, "forbidden")
	got := apitest.As[shares.KitTerms](p.keeper.Post(path, purchase).Want(200))
	if !got.Bought || got.Price.Amount != 6100 || got.Receipt != "Counter slip 4711" || len(got.Buyers) != 2 || got.Fixed {
		t.Errorf("terms %+v", got)
	}
	p.keeper.Post(path, purchase).WantProblem(409, "kit-already-bought")
	if b := p.settle(); b[p.ann.MemberID] != -4000 || b[""] != 4000 {
		t.Errorf("balances %v", b)
	}

	// The price was wrong: the entry is reversed, and what is right entered.
	entries := list[shares.Entry](t, p.keeper, "entries")
	reverse := func(id string) string { return p.keeper.Path("entries", id, "reversal") }
	p.keeper.Post(reverse(entries[0].ID), map[string]any{"reason": ""}).WantProblem(400, "malformed")
	back := apitest.As[shares.Entry](p.keeper.Post(reverse(entries[0].ID), map[string]any{"reason": "The slip says 59"}).Want(201))
	p.keeper.Get(p.keeper.Path("entries", back.ID)).Want(200)
	p.keeper.Post(reverse(entries[0].ID), map[string]any{"reason": "again"}).WantProblem(409, "already-reversed")
	p.keeper.Post(reverse(back.ID), map[string]any{"reason": "no"}).WantProblem(409, "reversal-of-reversal")
	purchase["price"] = price(5900)
	purchase["buyers"] = []any{map[string]any{"member": p.ann.MemberID, "amount": 5900}}
	p.keeper.Post(path, purchase).Want(200)
	p.keeper.Post(closing, map[string]any{"because": "expired"}).Want(200)
	if b := p.settle(); b[p.ann.MemberID] != -5900 || b[""] != 5900 {
		t.Errorf("balances %v", b)
	}
	account := apitest.As[shares.KitAccount](p.keeper.Get(p.keeper.Path("kits", kit.ID, "account")).Want(200))
	if account.Balance != 0 || len(account.Lines) != 4 {
		t.Errorf("account %+v", account)
	}
	p.keeper.Post(closing, map[string]any{"because": "expired"}).WantProblem(409, "kit-closed")
	why := apitest.As[shares.Explanation](p.ann.Get(p.ann.Path("members", p.ann.MemberID, "explanation")).Want(200))
	reversed := slices.ContainsFunc(why.Reasons, func(r shares.Reason) bool { return r.Reverses == entries[0].ID && r.Amount == 4000 })
	if why.Balance != -5900 || len(why.Reasons) != 3 || !reversed {
		t.Errorf("why: %+v", why)
	}
}

func TestSubscriptions(t *testing.T) {
	t.Parallel()
	p := newPurse(t)
	kit := p.buy(map[string]any{
		"share_rule": "weighted", "unused_falls_on": "subscribers", "bought_by": p.ann.MemberID,
		"offer": map[string]any{"until": "2026-11-20T00:00:00Z", "shares": 5},
	})
	subs := p.ann.Path("kits", kit.ID, "subscriptions")
	p.ann.Post(subs, map[string]any{"shares": 3}).Want(200)
	p.bea.Post(subs, map[string]any{"shares": 3}).WantProblem(409, "subscription-full")
	p.bea.Post(subs, map[string]any{"shares": 1}).Want(200)
	p.coral.Post(subs, map[string]any{}).Want(200)
	p.bea.Post(subs, map[string]any{"member": p.coral.MemberID}).WantProblem(403, "forbidden")
	p.coral.Delete(p.ann.Path("kits", kit.ID, "subscriptions", p.coral.MemberID), "").Want(204)
	p.coral.Delete(p.ann.Path("kits", kit.ID, "subscriptions", p.coral.MemberID), "").WantProblem(404, "not-found")
	late := p.coral.At(time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC))
	late.Post(subs, map[string]any{}).WantProblem(409, "subscriptions-closed")
	terms, _ := p.terms(kit.ID)
	if len(terms.Subscriptions) != 2 || terms.Offer == nil || *terms.Offer.Shares != 5 {
		t.Errorf("terms %+v", terms)
	}
	closing := apitest.As[shares.ClosingAnswer](p.keeper.Post(p.keeper.Path("kits", kit.ID, "closing"), map[string]any{"because": "expired"}).Want(200))
	for _, share := range closing.Shares {
		if want := map[string]int64{p.ann.MemberID: 4500, p.bea.MemberID: 1500}[share.Member]; share.Total != want {
			t.Errorf("3 shares to 1 of 60 €: %+v, want %d", share, want)
		}
	}
	p.coral.Post(subs, map[string]any{}).WantProblem(409, "kit-closed")

	fairness := apitest.As[shares.Fairness](p.keeper.Get(p.keeper.Path("kits", kit.ID, "fairness")).Want(200))
	if fairness.EffectivePerRoll != nil || fairness.RatedPerRoll != 1500 || fairness.WasteMinor != 6000 || len(fairness.BorneBy) != 2 || len(fairness.Otherwise) != 11 {
		t.Errorf("fairness %+v", fairness)
	}
}

func TestTermsChangeBeforeUse(t *testing.T) {
	t.Parallel()
	p := newPurse(t)
	kit := p.buy(nil)
	changes := p.keeper.Path("kits", kit.ID, "terms-changes")
	p.ann.Post(changes, map[string]any{"share_rule": "by_roll", "reason": "Agreed"}).WantProblem(403, "forbidden")
	p.keeper.Post(changes, map[string]any{"share_rule": "equally", "reason": "Agreed"}).WantProblem(422, "invalid")
	changed := apitest.As[shares.TermsChange](p.keeper.Post(changes, map[string]any{"share_rule": "by_roll", "unused_falls_on": "fund", "reason": "Agreed"}).Want(200))
	terms, _ := p.terms(kit.ID)
	if changed.AppliedAt == nil || terms.ShareRule != shares.ByRoll || terms.UnusedFallsOn != shares.Fund || terms.Change != nil {
		t.Errorf("changed %+v, terms %+v", changed, terms)
	}
	if got := list[shares.TermsChange](t, p.ann, "kits", kit.ID, "terms-changes"); len(got) != 1 || got[0].AppliedAt == nil {
		t.Errorf("changes %+v", got)
	}
	p.keeper.Delete(p.keeper.Path("kits", kit.ID, "terms-changes", changed.ID), "").WantProblem(404, "not-found")
	p.ann.Post(p.keeper.Path("kits", kit.ID, "terms-changes", changed.ID, "consents"), map[string]any{}).WantProblem(404, "not-found")
}

func TestMoneyRulesAndMonths(t *testing.T) {
	t.Parallel()
	p := newPurse(t)
	rules := p.keeper.Path("money-rules")
	first := p.ann.Get(rules).Want(200)
	p.keeper.Patch(rules, first.ETag(), map[string]any{"surcharge_minor": -1}).WantProblem(422, "amount-not-positive")
	p.keeper.Patch(rules, first.ETag(), map[string]any{"surcharge_minor": 150, "spoiled_falls_on": "fund"}).Want(200)
	p.keeper.Patch(rules, first.ETag(), map[string]any{"surcharge_minor": 0}).WantProblem(412, "stale")
	kit := p.buy(map[string]any{"bought_by": p.ann.MemberID})
	if terms, _ := p.terms(kit.ID); terms.SpoiledFallsOn != shares.SpoiledFund {
		t.Errorf("a kit entered since has %+v", terms)
	}
	months := p.keeper.Path("months")
	p.keeper.Post(months, map[string]any{"month": "2026-11"}).WantProblem(409, "month-not-over")
	p.keeper.Post(months, map[string]any{"month": "2026-13"}).WantProblem(400, "malformed")
	december := p.keeper.At(time.Date(2026, 12, 3, 0, 0, 0, 0, time.UTC))
	closed := apitest.As[shares.ClosedMonth](december.Post(months, map[string]any{"month": "2026-11"}).Want(200))
	var sum int64
	for _, b := range closed.Balances {
		sum += b.Amount
	}
	if len(closed.Balances) != 2 || sum != 0 {
		t.Errorf("closed %+v", closed)
	}
	december.Post(months, map[string]any{"month": "2026-11"}).WantProblem(409, "month-closed")
	p.keeper.Post(p.keeper.Path("kits"), p.kit(nil)).WantProblem(409, "month-closed")
	p.keeper.Post(p.keeper.Path("kits", kit.ID, "closing"), map[string]any{"because": "expired"}).WantProblem(409, "month-closed")
	december.Post(p.keeper.Path("kits", kit.ID, "closing"), map[string]any{"because": "expired"}).Want(200)
	if got := list[shares.ClosedMonth](t, december, "months"); len(got) != 1 {
		t.Errorf("months %+v", got)
	}
}

func TestPaymentsAndDeparture(t *testing.T) {
	t.Parallel()
	p := newPurse(t)
	kit := p.buy(map[string]any{"bought_by": p.ann.MemberID, "share_rule": "equally", "unused_falls_on": "subscribers", "subscribers": []string{p.ann.MemberID, p.bea.MemberID}})
	p.keeper.Post(p.keeper.Path("kits", kit.ID, "closing"), map[string]any{"because": "thrown_away"}).Want(200)
	p.keeper.Post(p.keeper.Path("members", p.bea.MemberID, "departure"), nil).WantProblem(409, "member-has-balance")
	settlement := apitest.As[shares.LabSettlement](p.keeper.Get(p.keeper.Path("settlement")).Want(200))
	if len(settlement.Payments) != 1 || settlement.Payments[0].Amount != 3000 || !shares.CheckReference(settlement.Payments[0].Reference) {
		t.Fatalf("settlement %+v", settlement)
	}
	dues := apitest.As[shares.Dues](p.bea.Get(p.bea.Path("members", p.bea.MemberID, "dues")).Want(200))
	if dues.Balance != 3000 || len(dues.Payments) != 1 || dues.Payments[0] != settlement.Payments[0] {
		t.Errorf("dues %+v", dues)
	}
	p.bea.Get(p.bea.Path("members", p.ann.MemberID, "dues")).WantProblem(404, "not-found")
	pay := func(amount int64) (shares.PaymentRecord, string) {
		r := p.bea.Post(p.bea.Path("payments"), map[string]any{"to": p.ann.MemberID, "amount": price(amount), "paid_on": "2026-11-10"}).Want(201)
		return apitest.As[shares.PaymentRecord](r), r.ETag()
	}
	part, tag := pay(1000)
	if part.Reference != settlement.Payments[0].Reference {
		t.Errorf("the payment quotes %s, the settlement %s", part.Reference, settlement.Payments[0].Reference)
	}
	answer := p.ann.Path("payments", part.ID, "answer")
	if b := p.settle(); b[p.bea.MemberID] != 3000 {
		t.Errorf("before the payee confirms: %v", b)
	}
	p.bea.With("If-Match", tag).Post(answer, map[string]any{"received": true}).WantProblem(403, "forbidden")
	p.coral.Get(p.ann.Path("payments", part.ID)).WantProblem(404, "not-found")
	confirmed := p.ann.With("If-Match", tag).Post(answer, map[string]any{"received": true}).Want(200)
	p.ann.With("If-Match", confirmed.ETag()).Post(answer, map[string]any{"received": true}).WantProblem(409, "payment-answered")
	if b := p.settle(); b[p.bea.MemberID] != 2000 || b[p.ann.MemberID] != -2000 {
		t.Errorf("after a part: %v", b)
	}
	no, tag := pay(2000)
	p.ann.With("If-Match", tag).Post(p.ann.Path("payments", no.ID, "answer"), map[string]any{"received": false}).Want(200)
	rest, tag := pay(2000)
	p.ann.With("If-Match", tag).Post(p.ann.Path("payments", rest.ID, "answer"), map[string]any{"received": true}).Want(200)
	if b := p.settle(); len(b) != 0 {
		t.Errorf("all is paid: %v", b)
	}
	if got := list[shares.PaymentRecord](t, p.bea, "payments"); len(got) != 3 {
		t.Errorf("payments %+v", got)
	}
	left := apitest.As[lab.Member](p.keeper.Post(p.keeper.Path("members", p.bea.MemberID, "departure"), nil).Want(200))
	if left.LeftAt == nil {
		t.Error("has not left")
	}
	p.keeper.Post(p.keeper.Path("members", p.bea.MemberID, "departure"), nil).WantProblem(409, "member-left")
	p.keeper.Post(p.keeper.Path("members", p.keeper.MemberID, "departure"), nil).WantProblem(409, "last-keeper")
	p.keeper.Post(p.keeper.Path("kits"), p.kit(map[string]any{"buyers": []any{map[string]any{"member": p.bea.MemberID, "amount": 6000}}})).Want(422)
}

func TestStatementsInThreeForms(t *testing.T) {
	t.Parallel()
	p := newPurse(t)
	kit := p.buy(map[string]any{"name": "=2+3, \"kit\"", "buyers": []any{
		map[string]any{"member": p.ann.MemberID, "amount": 4000}, map[string]any{"amount": 2000}}})
	for path, who := range map[string]*apitest.Client{
		p.ann.Path("members", p.ann.MemberID, "statement"): p.ann,
		p.ann.Path("kits", kit.ID, "account"):              p.keeper,
		p.ann.Path("fund"):                                 p.keeper,
	} {
		who.Get(path).Want(200)
		table := who.Get(path + "/csv").Want(200)
		if !strings.HasPrefix(table.Header("Content-Type"), "text/csv") || !bytes.Contains(table.Body, []byte("\r\n")) {
			t.Errorf("%s: %s %q", path, table.Header("Content-Type"), table.Body)
		}
		journal := who.Get(path + "/journal").Want(200)
		if !bytes.Contains(journal.Body, []byte("format 10000.00 EUR")) {
			t.Errorf("%s: %s", path, journal.Body)
		}
		p.bea.Get(path + "/csv?from=2026-11-01T00:00:00Z").Want(map[bool]int{true: 404, false: 403}[who == p.ann])
	}
	books := p.keeper.Get(p.keeper.Path("journal")).Want(200)
	if n := bytes.Count(books.Body, []byte(" EUR\n")); n != 5 { // the commodity, its format and three postings
		t.Errorf("%d lines of money in\n%s", n, books.Body)
	}
}

func TestGuestsAndGifts(t *testing.T) {
	t.Parallel()
	p := newPurse(t)
	guest := apitest.As[shares.Guest](p.ann.Post(p.ann.Path("guests"), map[string]any{"name": "Gus Marlow"}).Want(200))
	p.ann.Post(p.ann.Path("guests"), map[string]any{"name": "Gus", "host": p.bea.MemberID}).WantProblem(403, "forbidden")
	p.keeper.Post(p.keeper.Path("members", guest.ID, "sign-in-codes"), nil).WantProblem(409, "guest")
	p.keeper.Post(p.keeper.Path("kits"), p.kit(map[string]any{"buyers": []any{map[string]any{"member": guest.ID, "amount": 6000}}})).WantProblem(422, "invalid")
	if got := list[shares.Guest](t, p.keeper, "guests"); len(got) != 1 || got[0].Host != p.ann.MemberID {
		t.Errorf("guests %+v", got)
	}
	for _, m := range list[lab.Member](t, p.keeper, "members") {
		if m.ID == guest.ID {
			t.Error("the guest is listed as a member")
		}
	}
	p.ann.Get(p.ann.Path("members", guest.ID, "statement")).Want(200)
	p.bea.Get(p.ann.Path("members", guest.ID, "statement")).Want(404)

	reel := map[string]any{"code": "spiral-35", "name": "35 mm spiral", "count": 4, "holds": 1, "height_mm": 40, "solution_ml": 300, "loading": "PT2M", "drying": "PT20M"}
	p.keeper.Post(p.keeper.Path("reel-kinds"), reel).Want(201)
	p.keeper.Post(p.keeper.Path("tanks"), map[string]any{"name": "Tank", "height_mm": 200, "volume_ml": 2000, "heater_w": 500,
		"reel_kinds": []string{"spiral-35"}, "clean_up": "PT10M", "flush": "PT5M"}).Want(201)
	p.keeper.Post(p.keeper.Path("cabinets"), map[string]any{"name": "Cabinet", "positions": 8, "drop_mm": 1800, "drying": "PT3H"}).Want(201)
	roll := func(c *apitest.Client, of string) string {
		in := map[string]any{"format": "135-36", "process": "c-41"}
		if of != "" {
			in["member"] = of
		}
		var made struct{ ID string }
		c.Post(c.Path("rolls"), in).Want(201).Into(&made)
		return made.ID
	}
	roll(p.keeper, guest.ID)
	off := p.keeper.Path("members", guest.ID, "write-off")
	p.keeper.Post(off, map[string]any{"reason": "Gone"}).WantProblem(409, "nothing-to-write-off")
	p.keeper.Post(p.keeper.Path("members", p.ann.MemberID, "write-off"), map[string]any{"reason": "Gone"}).WantProblem(409, "member-not-left")
	paid := p.keeper.Post(p.keeper.Path("payments"), map[string]any{"from": "fund", "to": guest.ID, "amount": price(700), "paid_on": "2026-11-10"}).Want(201)
	var record shares.PaymentRecord
	paid.Into(&record)
	p.keeper.With("If-Match", paid.ETag()).Post(p.keeper.Path("payments", record.ID, "answer"), map[string]any{"received": true}).Want(200)
	written := apitest.As[shares.Entry](p.keeper.Post(off, map[string]any{"reason": "Gone"}).Want(201))
	if b := p.settle(); len(b) != 0 || len(written.Postings) != 2 {
		t.Errorf("written off: %v, %+v", b, written)
	}
	own, second, third := roll(p.ann, ""), roll(p.ann, ""), roll(p.ann, "")
	p.ann.Post(p.ann.Path("rolls", own, "gift"), map[string]any{"reason": "x"}).WantProblem(403, "forbidden")
	p.keeper.Post(p.ann.Path("rolls", own, "gift"), map[string]any{"reason": "Her first"}).Want(200)
	p.keeper.Post(p.ann.Path("rolls", own, "gift"), map[string]any{"reason": "again"}).WantProblem(409, "roll-already-free")

	estimate := func(query string) *apitest.Response { return p.ann.Get(p.ann.Path("estimate") + "?" + query) }
	estimate("roll="+second).WantProblem(404, "not-found") // no kit yet
	kit := p.buy(nil)
	e := apitest.As[shares.Estimate](estimate(fmt.Sprintf("roll=%s&roll=%s", second, third)).Want(200))
	// Two of four roll-equivalents of 60 €: half of it if it is used up, all if nothing more comes.
	if e.Kit != kit.ID || e.Provisional != 3000 || e.Least != 3000 || e.Most != 6000 {
		t.Errorf("estimate %+v", e)
	}
	// One of the two is free: the fund bears its half of the kit.
	e = apitest.As[shares.Estimate](estimate(fmt.Sprintf("roll=%s&roll=%s", own, second)).Want(200))
	if e.Provisional != 1500 || e.Least != 1500 || e.Most != 3000 || e.Rolls != 1 {
		t.Errorf("estimate with a free roll %+v", e)
	}
	if e = apitest.As[shares.Estimate](estimate("roll=" + own).Want(200)); e.Most != 0 || e.Surcharge != 0 {
		t.Errorf("estimate of a free roll %+v", e)
	}
	p.bea.Get(p.bea.Path("estimate")+"?roll="+own).WantProblem(404, "not-found")
}
