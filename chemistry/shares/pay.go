package shares

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/telling"
)

// A PaymentRecord is money that somebody says they paid, outside Wetside. The
// books know of it once the payee confirms.
type PaymentRecord struct {
	ID string `json:"id"`
	// From and To are members or guests; empty is the fund.
	From   string `json:"from,omitempty"`
	To     string `json:"to,omitempty"`
	Amount int64  `json:"amount"`
	PaidOn string `json:"paid_on"`
	// Reference is what the payer quotes, so that the payee knows the payment.
	Reference  string       `json:"reference"`
	Note       string       `json:"note"`
	State      PaymentState `json:"state"`
	RecordedBy string       `json:"recorded_by"`
	RecordedAt time.Time    `json:"recorded_at"`
	AnsweredBy string       `json:"answered_by,omitempty"`
	AnsweredAt *time.Time   `json:"answered_at,omitempty"`
	Entry      string       `json:"entry,omitempty"`
	Version    int64        `json:"-"`
}

// Revision counts the changes of the record.
func (p PaymentRecord) Revision() int64 { return p.Version }

// A PaymentState is how far a payment has come.
type PaymentState string

// The states. Only confirmed payments count in the books.
const (
	Recorded  PaymentState = "recorded"
	Confirmed PaymentState = "confirmed"
	Declined  PaymentState = "declined"
	Reversed  PaymentState = "reversed"
)

// A NewPayment is what a payer records. Any part of what is owed may be paid.
type NewPayment struct {
	// From is the member who asks unless given; "fund" is the fund.
	From      string `json:"from"`
	To        string `json:"to"`
	Amount    Price  `json:"amount"`
	PaidOn    string `json:"paid_on"`
	Reference string `json:"reference"`
	Note      string `json:"note"`
}

// TheFund is how a caller names the fund as payer or payee.
const TheFund = "fund"

// RecordPayment records a payment. Members record their own; the treasurer
// anybody's, the fund's among them. It refuses with Forbidden,
// "payment-to-oneself", "amount-not-positive", "amount-too-large",
// "wrong-currency", and Invalid for parties who are not there.
func RecordPayment(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewPayment) (PaymentRecord, error) {
	if in.From == "" {
		in.From = s.By.ID
	}
	if in.From != s.By.ID && !s.By.Has(lab.RoleTreasurer) {
		return PaymentRecord{}, lab.Refuse(lab.Forbidden, "forbidden", "payers record their own payments")
	}
	if in.From == in.To {
		return PaymentRecord{}, lab.Refuse(lab.Invalid, "payment-to-oneself", "nobody pays themselves").
			With("/to", "same", "payer and payee are the same")
	}
	if err := in.Amount.check("/amount", s.Lab.Currency); err != nil {
		return PaymentRecord{}, err
	}
	if _, err := time.Parse(time.DateOnly, in.PaidOn); err != nil {
		return PaymentRecord{}, lab.Refuse(lab.Invalid, "invalid", "there is no such day").
			With("/paid_on", "date", "want a date such as 2026-01-31")
	}
	if in.PaidOn > s.Now.In(s.Lab.Location()).Format(time.DateOnly) {
		return PaymentRecord{}, lab.Refuse(lab.Invalid, "invalid", "the day is yet to come").
			With("/paid_on", "in-the-future", "record a payment once it is made")
	}
	for pointer, party := range map[string]*string{"/from": &in.From, "/to": &in.To} {
		if *party == TheFund {
			*party = ""
		} else if err := refuseStranger(ctx, tx, s.Lab.ID, pointer, *party); err != nil {
			return PaymentRecord{}, err
		}
	}
	if strings.HasPrefix(in.Reference, "RF") && !CheckReference(in.Reference) {
		return PaymentRecord{}, lab.Refuse(lab.Invalid, "invalid", "the reference is mistyped").
			With("/reference", "check-digits", "its check digits do not fit (ISO 11649); copy it as it stands")
	}
	if in.Reference == "" {
		in.Reference = Reference(s.Lab.ID, in.From, in.To)
	}
	var id string
	err := tx.QueryRow(ctx, `
		INSERT INTO payments (lab_id, id, payer, payee, amount_minor, paid_on, reference, note, state, recorded_by, recorded_at)
		VALUES ($1, new_id('payment', $2), nullif($3, ''), nullif($4, ''), $5, $6::text::date, $7, $8, 'recorded', $9, $2)
		RETURNING id`,
		s.Lab.ID, s.Now, in.From, in.To, int64(in.Amount.Amount), in.PaidOn, in.Reference, in.Note, s.By.ID).Scan(&id)
	if err != nil {
		return PaymentRecord{}, fmt.Errorf("record payment: %w", err)
	}
	p, err := FindPayment(ctx, tx, s, id)
	if err != nil {
		return PaymentRecord{}, err
	}
	return p, tellPayment(ctx, tx, s, telling.PaymentMade, p.To, p, "")
}

// refuseStranger refuses a party who was never in the books. Who has left may
// still pay and be paid.
func refuseStranger(ctx context.Context, tx pgx.Tx, labID, pointer, member string) error {
	_, err := lab.FindMember(ctx, tx, labID, member)
	if lab.RefusalCode(err) == "not-found" {
		return lab.Refuse(lab.Invalid, "invalid", "there is no such payment").
			With(pointer, "no-such-member", "the lab has no such member")
	}
	return err
}

// AnswerPayment is the payee's word on a payment that was recorded: confirmed,
// it goes into the books. For the fund and for guests, who cannot sign in, the
// treasurer answers. It refuses with NotFound, Forbidden for others, Stale, and
// "payment-answered".
func AnswerPayment(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64, confirm bool) (PaymentRecord, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return PaymentRecord{}, err
	}
	p, err := FindPayment(ctx, tx, s, id)
	if err != nil {
		return PaymentRecord{}, err
	}
	if p.Version != version {
		return PaymentRecord{}, lab.Refuse(lab.Stale, "stale", "the payment has changed since you read it; read it again")
	}
	if err := mayAnswer(ctx, tx, s, p.To); err != nil {
		return PaymentRecord{}, err
	}
	if p.State != Recorded {
		return PaymentRecord{}, lab.Refuse(lab.Conflict, "payment-answered", "the payment is %s", p.State)
	}
	state, entry := Declined, ""
	if confirm {
		state = Confirmed
		if entry, err = post(ctx, tx, s, paymentEntry(p)); err != nil {
			return PaymentRecord{}, err
		}
	}
	_, err = tx.Exec(ctx, `
		UPDATE payments SET state = $3, answered_by = $4, answered_at = $5, entry_id = nullif($6, ''), version = version + 1
		WHERE lab_id = $1 AND id = $2`, s.Lab.ID, id, state, s.By.ID, s.Now, entry)
	if err != nil {
		return PaymentRecord{}, fmt.Errorf("answer payment: %w", err)
	}
	if err := tellPayment(ctx, tx, s, telling.PaymentAnswered, p.From, p, string(state)); err != nil {
		return PaymentRecord{}, err
	}
	return FindPayment(ctx, tx, s, id)
}

// mayAnswer refuses all but the payee, and for those who cannot answer the treasurer.
func mayAnswer(ctx context.Context, tx pgx.Tx, s lab.Scope, payee string) error {
	if payee == s.By.ID {
		return nil
	}
	absent := payee == ""
	if !absent {
		m, err := lab.FindMember(ctx, tx, s.Lab.ID, payee)
		if err != nil {
			return err
		}
		absent = m.GuestOf != nil || m.LeftAt != nil
	}
	if !absent || !s.By.Has(lab.RoleTreasurer) {
		return lab.Refuse(lab.Forbidden, "forbidden", "the payee says whether the money came")
	}
	return nil
}

// paymentEntry credits who paid and debits who was paid.
func paymentEntry(p PaymentRecord) Entry {
	return Entry{
		Kind: Paid, Text: "Paid, reference " + p.Reference, Payment: p.ID,
		Postings: []Posting{onParty(p.From, -p.Amount), onParty(p.To, p.Amount)},
	}
}

const paymentColumns = `id, coalesce(payer, ''), coalesce(payee, ''), amount_minor, to_char(paid_on, 'YYYY-MM-DD'), reference, note,
	state, recorded_by, recorded_at, coalesce(answered_by, ''), answered_at, coalesce(entry_id, ''), version`

// FindPayment reads a payment that the member may see: one of their own, or
// any for the treasurer. It refuses with NotFound.
func FindPayment(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (PaymentRecord, error) {
	list, err := readPayments(ctx, tx, s, `id = $4`, id)
	if err != nil {
		return PaymentRecord{}, err
	}
	if len(list) == 0 {
		return PaymentRecord{}, lab.Refuse(lab.NotFound, "not-found", "there is no such payment")
	}
	return list[0], nil
}

// ListPayments reads the payments that the member may see, oldest first.
func ListPayments(ctx context.Context, tx pgx.Tx, s lab.Scope, p lab.Page) (lab.List[PaymentRecord], error) {
	list, err := readPayments(ctx, tx, s, `id > $4 ORDER BY id LIMIT $5`, p.After, p.Limit+1)
	if err != nil {
		return lab.List[PaymentRecord]{}, err
	}
	return lab.Cut(list, p, func(p PaymentRecord) string { return p.ID }), nil
}

func readPayments(ctx context.Context, tx pgx.Tx, s lab.Scope, rest string, args ...any) ([]PaymentRecord, error) {
	rows, err := tx.Query(ctx, `SELECT `+paymentColumns+` FROM payments
		WHERE lab_id = $1 AND ($2 OR payer = $3 OR payee = $3 OR recorded_by = $3) AND `+rest,
		append([]any{s.Lab.ID, s.By.Has(lab.RoleTreasurer), s.By.ID}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("read payments: %w", err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[PaymentRecord])
	if err != nil {
		return nil, fmt.Errorf("read payments: %w", err)
	}
	return list, nil
}

// ForgetNotes throws out what was noted on a member's payments.
func ForgetNotes(ctx context.Context, tx pgx.Tx, s lab.Scope, m lab.Member) error {
	_, err := tx.Exec(ctx, `UPDATE payments SET note = '', version = version + 1
		WHERE lab_id = $1 AND $2 IN (payer, payee) AND note <> ''`, s.Lab.ID, m.ID)
	if err != nil {
		return fmt.Errorf("forget notes on payments: %w", err)
	}
	return nil
}
