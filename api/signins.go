package api

import (
	"context"
	"net/http"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/signin"
)

func (a *API) signInOperations() []operation {
	const own = "/v1/labs/:lab/members/:member/sign-ins"
	return []operation{
		{ID: "signIn", Method: http.MethodPost, Path: "/v1/labs/:lab/sign-ins", Who: nobody, Secret: true,
			Prepare: prepared(a.judgePassword), Handle: body(a.signIn)},
		{ID: "mailCode", Method: http.MethodPost, Path: "/v1/labs/:lab/mailed-codes", Who: nobody, Secret: true, Handle: body(a.mailCode)},
		{ID: "signOut", Method: http.MethodDelete, Path: "/v1/labs/:lab/sign-in", Who: members, Handle: signOut},
		{ID: "listSignIns", Method: http.MethodGet, Path: own, Who: members, Handle: listSignIns},
		{ID: "endSignIn", Method: http.MethodDelete, Path: own + "/:sign_in", Who: members, Handle: endSignIn},
		{ID: "endSignIns", Method: http.MethodDelete, Path: own, Who: members, Handle: endSignIns},
	}
}

type passwordSignIn struct {
	Email    string `json:"email"`
	Password string `json:"password"`
	Device   string `json:"device"`
}

// A judgement is what was found out about a password between transactions.
type judgement struct {
	try      signin.Try
	right    bool
	rehashed string // the hash at today's cost, where the kept one is of another
}

// judgePassword compares a password with what is kept, whether the address is
// somebody's or not: it takes as long.
func (a *API) judgePassword(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in passwordSignIn) (work, error) {
	try, wait, err := signin.TryAddress(ctx, tx, s.Lab.ID, in.Email, r.Clock)
	if err != nil {
		return nil, err
	}
	if wait > 0 {
		return nil, tooMany(wait)
	}
	return a.judge(try, in.Password), nil
}

func (a *API) judge(try signin.Try, password string) work {
	return func(ctx context.Context) (any, error) {
		j := judgement{try: try}
		ok, stale, err := a.hasher.Verify(ctx, try.PHC, password)
		if err == nil && ok && stale {
			j.rehashed, err = a.hasher.Hash(ctx, password)
		}
		j.right = ok
		return j, err
	}
}

// tooMany is the 429 of somebody who has given too many wrong passwords.
func tooMany(wait time.Duration) error {
	seconds := strconv.FormatInt(int64((wait+time.Second-1)/time.Second), 10)
	return &failure{status: http.StatusTooManyRequests, code: "too-many-attempts",
		detail: "too many wrong passwords in a row; wait, or sign in by a code", header: map[string]string{"Retry-After": seconds}}
}

// accept takes note of what a password was found to be. It fails with no where
// it was wrong; the count of wrong ones stays.
func (j judgement) accept(ctx context.Context, tx pgx.Tx, labID string, clock time.Time, no error) error {
	if j.right {
		ok, err := j.try.Right(ctx, tx, labID, j.rehashed, clock)
		if err == nil && !ok {
			err = no
		}
		return err
	}
	if err := j.try.Failed(ctx, tx, labID, clock); err != nil {
		return err
	}
	return &stays{no}
}

// signIn signs a member in by their address and password.
func (a *API) signIn(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in passwordSignIn) (Answer, error) {
	j, _ := r.prepared.(judgement)
	err := j.accept(ctx, tx, s.Lab.ID, r.Clock, unauthenticated("", "the address and the password do not go together"))
	if err != nil {
		return Answer{}, err
	}
	return reply(a.begin(ctx, tx, r, s.Lab.ID, j.try.Member.ID, signin.ByPassword, in.Device))
}

type codeRequest struct {
	Email string `json:"email"`
}

// mailCode has a job mail a code to an address, if it is a member's: neither the
// answer nor how long it takes tells whether it is.
func (a *API) mailCode(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in codeRequest) (Answer, error) {
	if !a.mails {
		return Answer{}, lab.Refuse(lab.Conflict, "no-mail", "this server sends no mail; ask the steward for a code")
	}
	if err := signin.AskForCode(ctx, tx, s.Lab.ID, in.Email, r.Clock); err != nil {
		return Answer{}, err
	}
	return Answer{Status: http.StatusAccepted}, nil
}

func signOut(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return NoContent(), signin.End(ctx, tx, s.Lab.ID, s.By.ID, r.SignIn, r.Clock)
}

// listSignIns lists a member's own; to others they are not there.
func listSignIns(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if r.Path("member") != s.By.ID {
		return Answer{}, lab.Refuse(lab.NotFound, "not-found", "there is no such member")
	}
	return listed(signin.List(ctx, tx, s.Lab.ID, s.By.ID, r.SignIn, r.Clock, r.Page()))
}

func endSignIn(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if r.Path("member") != s.By.ID {
		return Answer{}, lab.Refuse(lab.NotFound, "not-found", "there is no such member")
	}
	return NoContent(), signin.End(ctx, tx, s.Lab.ID, s.By.ID, r.Path("sign_in"), r.Clock)
}

// endSignIns signs a member out everywhere: themselves, or one who lost their
// telephone, by whoever may issue codes to them.
func endSignIns(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	id := r.Path("member")
	if id != s.By.ID {
		if !s.By.Has(lab.RoleSteward, lab.RoleKeeper) {
			return Answer{}, lab.Refuse(lab.NotFound, "not-found", "there is no such member")
		}
		if err := lab.MayActFor(ctx, tx, s, id); err != nil {
			return Answer{}, err
		}
	}
	return NoContent(), signin.EndAll(ctx, tx, s.Lab.ID, id, "", "everywhere", r.Clock)
}
