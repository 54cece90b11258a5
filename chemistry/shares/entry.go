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
	// Reverses is the entry that this one undoes.
	Reverses string `json:"reverses,omitempty"`
	MadeBy   string `json:"made_by"`
	// Postings add up to zero.
	Postings []Posting `json:"postings"`
}

// A Kind is what an entry is about.
type Kind string

// The kinds of entries.
const (
	Purchase  Kind = "purchase"
	RunCharge Kind = "run_charge"
	FinalCost Kind = "closing"
	Reversal  Kind = "reversal"
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

// post writes e at s.Now by s.By and returns its id. An entry that does not
// balance is an error here already, and to the database when it commits.
func post(ctx context.Context, tx pgx.Tx, s lab.Scope, e Entry) (string, error) {
	var sum int64
	var accounts, members, kits, rolls []string
	var areas, amounts []int64
	for _, p := range e.Postings {
		sum += p.Amount
		accounts, members, kits = append(accounts, string(p.Account)), append(members, p.Member), append(kits, p.Kit)
		rolls, areas, amounts = append(rolls, p.Roll), append(areas, p.AreaMM2), append(amounts, p.Amount)
	}
	if sum != 0 || len(e.Postings) < 2 {
		return "", fmt.Errorf("post %s: %d postings add up to %d", e.Kind, len(e.Postings), sum)
	}
	var id string
	err := tx.QueryRow(ctx, `
		WITH entry AS (
			INSERT INTO entries (lab_id, id, at, kind, text, kit_id, run_id, reverses, made_by)
			VALUES ($1, new_id('entry', $2), $2, $3, $4, nullif($5, ''), nullif($6, ''), nullif($7, ''), $8)
			RETURNING lab_id, id
		), lines AS (
			INSERT INTO postings (lab_id, entry_id, line, account, member_id, kit_id, roll_id, area_mm2, amount_minor)
			SELECT entry.lab_id, entry.id, p.line, p.account,
				nullif(p.member, ''), nullif(p.kit, ''), nullif(p.roll, ''), nullif(p.area, 0), p.amount
			FROM entry, unnest($9::text[], $10::text[], $11::text[], $12::text[], $13::bigint[], $14::bigint[])
				WITH ORDINALITY AS p (account, member, kit, roll, area, amount, line)
		)
		SELECT id FROM entry`,
		s.Lab.ID, s.Now, e.Kind, e.Text, e.Kit, e.Run, e.Reverses, s.By.ID,
		accounts, members, kits, rolls, areas, amounts).Scan(&id)
	if err != nil {
		return "", fmt.Errorf("post %s: %w", e.Kind, err)
	}
	return id, nil
}
