package api

import (
	"context"
	"net/http"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/signin"
	"wetside/lab/telling"
)

func (a *API) passwordOperations() []operation {
	return []operation{
		{ID: "setPassword", Method: http.MethodPut, Path: "/v1/labs/:lab/members/:member/password", Who: members, Secret: true,
			Prepare: prepared(a.judgeNewPassword), Handle: a.setPassword},
	}
}

type newPassword struct {
	Password string  `json:"password"`
	Current  *string `json:"current_password"`
}

type passwordSet struct {
	ChangedAt time.Time `json:"changed_at"`
}

// A changing is a password change as it was found to be between transactions.
type changing struct {
	current *judgement // of the old password, where that was asked for
	phc     string
}

// judgeNewPassword holds a new password against the rules, and the old one
// against what is kept. Who has no password yet, or signed in by other means just
// now, need not know the old one.
func (a *API) judgeNewPassword(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in newPassword) (work, error) {
	if r.Path("member") != s.By.ID {
		return nil, lab.Refuse(lab.NotFound, "not-found", "there is no such member")
	}
	if s.By.Email == nil {
		return nil, lab.Refuse(lab.Conflict, "no-email", "a password goes with an address; have the steward enter yours first")
	}
	if err := signin.CheckPassword("/password", in.Password, a.password, s.Lab.Name, s.By.Name, *s.By.Email); err != nil {
		return nil, err
	}
	try, wait, err := signin.TryMember(ctx, tx, s.Lab.ID, s.By, r.Clock)
	if err != nil {
		return nil, err
	}
	judge := work(func(context.Context) (any, error) { return nil, nil })
	if try.PHC != "" && in.Current != nil {
		if wait > 0 {
			return nil, tooMany(wait)
		}
		judge = a.judge(try, *in.Current)
	} else if try.PHC != "" {
		fresh, err := signin.Fresh(ctx, tx, s.Lab.ID, r.SignIn, r.Clock)
		if err != nil {
			return nil, err
		}
		if !fresh {
			return nil, errCurrent("give the password that is to be replaced, or sign in by a code first")
		}
	}
	return func(ctx context.Context) (any, error) {
		var c changing
		judged, err := judge(ctx)
		if j, ok := judged.(judgement); ok {
			c.current = &j
		}
		if err == nil && (c.current == nil || c.current.right) {
			c.phc, err = a.hasher.Hash(ctx, in.Password)
		}
		return c, err
	}, nil
}

func errCurrent(detail string) error {
	return lab.Refuse(lab.Invalid, "current-password-needed", "%s", detail).With("/current_password", "wrong", "%s", detail)
}

// setPassword sets the member's password, and ends their other sign-ins.
func (a *API) setPassword(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	c, _ := r.prepared.(changing)
	if c.current != nil {
		err := c.current.accept(ctx, tx, s.Lab.ID, r.Clock, errCurrent("this is not the password that is to be replaced"))
		if err != nil {
			return Answer{}, err
		}
	}
	if err := signin.SetPassword(ctx, tx, s.Lab.ID, s.By, c.phc, r.Clock); err != nil {
		return Answer{}, err
	}
	if err := signin.EndAll(ctx, tx, s.Lab.ID, s.By.ID, r.SignIn, "password-changed", r.Clock); err != nil {
		return Answer{}, err
	}
	return reply(passwordSet{r.Clock}, telling.Tell(ctx, tx, s, telling.Notice{Kind: telling.SignInChanged, To: []string{s.By.ID},
		Words: map[string]string{"what": "A new password was set, and your other sign-ins were ended"}}))
}
