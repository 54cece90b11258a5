package shares

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// An Entry is one event in the books. It is never changed; a wrong one is
// answered by another that reverses it.
type Entry struct {
	ID   string    `json:"id"`
	At   time.Time `json:"at"`
	Kind Kind      `json:"kind"`
	Text string    `json:"text"`
	Kit  string    `json:"kit,omitempty"`
	Run  string    `json:"run,omitempty"`
	// Payment is the payment that was confirmed.
	Payment string `json:"payment,omitempty"`
	// Reverses is the entry that this one undoes.
	Reverses string `json:"reverses,omitempty"`
	MadeBy   string `json:"made_by"`
	// Postings add up to zero.
	Postings []Posting `json:"postings"`
	// Basis is what the amounts were reckoned from.
	Basis Basis `json:"-"`
}

// A Basis is what an entry's amounts were reckoned from, kept with it so that
// they can be explained whatever changes later. Entries have one or none.
type Basis struct {
	Charge    *ChargeBasis    `json:"charge,omitempty"`
	Surcharge *SurchargeBasis `json:"surcharge,omitempty"`
	Closing   *Closing        `json:"closing,omitempty"`
}

// A ChargeBasis is the price and the areas that a run was charged by.
type ChargeBasis struct {
	PriceMinor   int64 `json:"price_minor"`
	RatedAreaMM2 int64 `json:"rated_area_mm2"`
	AreaMM2      int64 `json:"area_mm2"`
	ChargeMinor  int64 `json:"charge_minor"`
}

// A SurchargeBasis is what a run was charged beside its chemistry, and the area it was shared by.
type SurchargeBasis struct {
	SurchargeMinor int64 `json:"surcharge_minor"`
	AreaMM2        int64 `json:"area_mm2"`
}

// A Kind is what an entry is about.
type Kind string

// The kinds of entries.
const (
	Purchase     Kind = "purchase"
	RunCharge    Kind = "run_charge"
	RunSurcharge Kind = "surcharge"
	FinalCost    Kind = "closing"
	Paid         Kind = "payment"
	WrittenOff   Kind = "write_off"
	Reversal     Kind = "reversal"
)

// A Posting is one line of an entry.
type Posting struct {
	Account Account `json:"account"`
	// Member or Kit is whose account it is, unless it is the fund's.
	Member string `json:"member,omitempty"`
	Kit    string `json:"kit,omitempty"`
	// Roll is what a run charge is for, and AreaMM2 what it was charged by.
	Roll    string `json:"roll,omitempty"`
	AreaMM2 int64  `json:"area_mm2,omitempty"`
	// Amount is in minor units; a debit is positive.
	Amount int64 `json:"amount"`
}

// An Account is what kind of account a posting is to.
type Account string

// The accounts: each member's, each kit's, and the co-op's fund.
const (
	MemberAccount Account = "member"
	OwnKit        Account = "kit"
	FundAccount   Account = "fund"
)

// onParty is a posting to a member's account, or for "" to the fund's.
func onParty(member string, amount int64) Posting {
	if member == "" {
		return Posting{Account: FundAccount, Amount: amount}
	}
	return Posting{Account: MemberAccount, Member: member, Amount: amount}
}

func onKit(kit string, amount int64) Posting {
	return Posting{Account: OwnKit, Kit: kit, Amount: amount}
}

// balanced fails unless e's postings are two at least and add up to zero.
func (e Entry) balanced() error {
	if total := sum(e.Postings); total != 0 || len(e.Postings) < 2 {
		return fmt.Errorf("%s: %d postings add up to %d", e.Kind, len(e.Postings), total)
	}
	return nil
}

func sum(postings []Posting) (total int64) {
	for _, p := range postings {
		total += p.Amount
	}
	return total
}

// post writes e at s.Now by s.By and returns its id. An entry that does not
// balance is an error here already, and to the database when it commits. It
// refuses with "month-closed", after which the transaction is good for nothing.
func post(ctx context.Context, tx pgx.Tx, s lab.Scope, e Entry) (string, error) {
	if err := e.balanced(); err != nil {
		return "", fmt.Errorf("post: %w", err)
	}
	var accounts, members, kits, rolls []string
	var areas, amounts []int64
	for _, p := range e.Postings {
		accounts, members, kits = append(accounts, string(p.Account)), append(members, p.Member), append(kits, p.Kit)
		rolls, areas, amounts = append(rolls, p.Roll), append(areas, p.AreaMM2), append(amounts, p.Amount)
	}
	var id string
	// Lines refer to their entry, so it is written by a statement of its own.
	err := tx.QueryRow(ctx, `
		INSERT INTO entries (lab_id, id, at, kind, text, kit_id, run_id, reverses, made_by, payment_id, basis)
		VALUES ($1, new_id('entry', $2), $2, $3, $4, nullif($5, ''), nullif($6, ''), nullif($7, ''), $8, nullif($9, ''), $10)
		RETURNING id`,
		s.Lab.ID, s.Now, e.Kind, e.Text, e.Kit, e.Run, e.Reverses, s.By.ID, e.Payment, e.Basis).Scan(&id)
	if lab.Violates(err, lab.CheckViolation, "entries_month_open") {
		return "", lab.Refuse(lab.Conflict, "month-closed", "the books of that month are closed")
	}
	if err != nil {
		return "", fmt.Errorf("post %s: %w", e.Kind, err)
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO postings (lab_id, entry_id, line, account, member_id, kit_id, roll_id, area_mm2, amount_minor)
		SELECT $1, $2, p.line, p.account, nullif(p.member, ''), nullif(p.kit, ''), nullif(p.roll, ''), nullif(p.area, 0), p.amount
		FROM unnest($3::text[], $4::text[], $5::text[], $6::text[], $7::bigint[], $8::bigint[])
			WITH ORDINALITY AS p (account, member, kit, roll, area, amount, line)`,
		s.Lab.ID, id, accounts, members, kits, rolls, areas, amounts)
	if err != nil {
		return "", fmt.Errorf("post %s: %w", e.Kind, err)
	}
	return id, nil
}
