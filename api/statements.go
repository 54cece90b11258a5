package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry/shares"
	"wetside/lab"
)

func statementOperations() []operation {
	const of = "/v1/labs/:lab"
	const member, kit = of + "/members/:member", of + "/kits/:kit"
	treasurer := holders(lab.RoleTreasurer)
	return []operation{
		{ID: "getStatement", Method: http.MethodGet, Path: member + "/statement", Who: members, Handle: getStatement},
		{ID: "getStatementCsv", Method: http.MethodGet, Path: member + "/statement/csv", Who: members, Handle: getStatementCSV},
		{ID: "getStatementJournal", Method: http.MethodGet, Path: member + "/statement/journal", Who: members, Handle: getStatementJournal},
		{ID: "explainBalance", Method: http.MethodGet, Path: member + "/explanation", Who: members, Handle: explainBalance},
		{ID: "getKitAccount", Method: http.MethodGet, Path: kit + "/account", Who: treasurer, Handle: getKitAccount},
		{ID: "getKitAccountCsv", Method: http.MethodGet, Path: kit + "/account/csv", Who: treasurer, Handle: getKitAccountCSV},
		{ID: "getKitAccountJournal", Method: http.MethodGet, Path: kit + "/account/journal", Who: treasurer, Handle: getKitAccountJournal},
		{ID: "getFairness", Method: http.MethodGet, Path: kit + "/fairness", Who: treasurer, Handle: getFairness},
		{ID: "getFund", Method: http.MethodGet, Path: of + "/fund", Who: treasurer, Handle: getFund},
		{ID: "getFundCsv", Method: http.MethodGet, Path: of + "/fund/csv", Who: treasurer, Handle: getFundCSV},
		{ID: "getFundJournal", Method: http.MethodGet, Path: of + "/fund/journal", Who: treasurer, Handle: getFundJournal},
		{ID: "getJournal", Method: http.MethodGet, Path: of + "/journal", Who: treasurer, Handle: getJournal},
	}
}

// What statements are answered as beside JSON.
const (
	mediaCSV     = "text/csv; charset=utf-8; header=present"
	mediaJournal = "text/plain; charset=utf-8"
)

func spanOf(r Request) shares.Span {
	return shares.Span{From: r.Instant("from"), Until: r.Instant("until")}
}

// statementOf reads a member's statement: everybody their own and their
// guests', treasurers any. To those who may not, nobody else is there.
func statementOf(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (shares.Statement, error) {
	st, err := shares.ReadStatement(ctx, tx, s, r.Path("member"), spanOf(r))
	return st, unseen(err)
}

// unseen hides from those who may not see a member whether there is one.
func unseen(err error) error {
	if lab.RefusalCode(err) == "forbidden" {
		return lab.Refuse(lab.NotFound, "not-found", "there is no such member")
	}
	return err
}

func getStatement(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(statementOf(ctx, tx, s, r))
}

func getStatementCSV(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	st, err := statementOf(ctx, tx, s, r)
	return Text(mediaCSV, st.CSV(s.Lab.Currency)), err
}

func getStatementJournal(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	st, err := statementOf(ctx, tx, s, r)
	if err != nil {
		return Answer{}, err
	}
	of := shares.Posting{Account: shares.MemberAccount, Member: st.Member}
	text, err := shares.WriteAccountJournal(ctx, tx, s, of, st.Lines, st.Opening, st.From)
	return Text(mediaJournal, text), err
}

func explainBalance(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	why, err := shares.Explain(ctx, tx, s, r.Path("member"), given(r, "kit"))
	return reply(why, unseen(err))
}

func getKitAccount(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(shares.ReadKitAccount(ctx, tx, s.Lab.ID, r.Path("kit"), spanOf(r)))
}

func getKitAccountCSV(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	a, err := shares.ReadKitAccount(ctx, tx, s.Lab.ID, r.Path("kit"), spanOf(r))
	return Text(mediaCSV, a.CSV(s.Lab.Currency)), err
}

func getKitAccountJournal(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	a, err := shares.ReadKitAccount(ctx, tx, s.Lab.ID, r.Path("kit"), spanOf(r))
	if err != nil {
		return Answer{}, err
	}
	text, err := shares.WriteAccountJournal(ctx, tx, s, shares.Posting{Account: shares.OwnKit, Kit: a.Kit}, a.Lines, a.Opening, a.From)
	return Text(mediaJournal, text), err
}

func getFairness(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(shares.ReadFairness(ctx, tx, s, r.Path("kit")))
}

func getFund(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(shares.ReadFund(ctx, tx, s, spanOf(r)))
}

func getFundCSV(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	st, err := shares.ReadFund(ctx, tx, s, spanOf(r))
	return Text(mediaCSV, st.CSV(s.Lab.Currency)), err
}

func getFundJournal(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	st, err := shares.ReadFund(ctx, tx, s, spanOf(r))
	if err != nil {
		return Answer{}, err
	}
	text, err := shares.WriteAccountJournal(ctx, tx, s, shares.Posting{Account: shares.FundAccount}, st.Lines, st.Opening, st.From)
	return Text(mediaJournal, text), err
}

func getJournal(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	text, err := shares.WriteJournal(ctx, tx, s, spanOf(r))
	return Text(mediaJournal, text), err
}
