package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/signin"
)

func (a *API) invitationOperations() []operation {
	const all = "/v1/labs/:lab/invitations"
	hosts := holders(lab.RoleKeeper, lab.RoleSteward)
	return []operation{
		{ID: "invite", Method: http.MethodPost, Path: all, Who: hosts, Secret: true, Handle: body(a.invite)},
		{ID: "listInvitations", Method: http.MethodGet, Path: all, Who: hosts, Handle: listInvitations},
		{ID: "withdrawInvitation", Method: http.MethodDelete, Path: all + "/:invitation", Who: hosts, Handle: withdrawInvitation},
		{ID: "acceptInvitation", Method: http.MethodPost, Path: "/v1/labs/:lab/acceptances", Who: nobody, Secret: true,
			Prepare: prepared(a.judgeAcceptance), Handle: body(a.acceptInvitation)},
	}
}

// invite invites somebody. Where the invitation is mailed its secret is in the
// mail alone, so that who accepts has shown that the address is theirs.
func (a *API) invite(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in lab.NewMember) (Answer, error) {
	made, err := signin.Invite(ctx, tx, s, in, r.Clock, a.random)
	if err != nil {
		return Answer{}, err
	}
	if made.Email != nil && a.mails {
		if err := signin.MailInvitation(ctx, tx, s, made, a.signInPage); err != nil {
			return Answer{}, err
		}
		made.Secret = ""
	}
	return Answer{Status: http.StatusCreated, Body: made}, nil
}

func listInvitations(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(signin.Invitations(ctx, tx, s.Lab.ID, r.Page()))
}

func withdrawInvitation(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return NoContent(), signin.Withdraw(ctx, tx, s.Lab.ID, r.Path("invitation"), r.Clock)
}

type acceptance struct {
	Secret   string  `json:"secret"`
	Email    *string `json:"email"`
	Password *string `json:"password"`
	IDToken  *string `json:"id_token"`
	Device   string  `json:"device"`
}

// An accepting is what an acceptance was found to hold between transactions.
type accepting struct {
	email  *string
	phc    string
	person *signin.Person
}

// judgeAcceptance finds the invitation, and holds the password and the ID token
// that come with its acceptance against the rules.
func (a *API) judgeAcceptance(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in acceptance) (work, error) {
	found, ok, err := signin.FindInvitation(ctx, tx, s.Lab.ID, in.Secret, r.Clock)
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, errInvitationOver()
	}
	out := accepting{email: found.Email}
	if in.Email != nil {
		if out.email, err = ownAddress(*in.Email, found.Email); err != nil {
			return nil, err
		}
	}
	if in.Password != nil {
		if out.email == nil {
			return nil, lab.Refuse(lab.Invalid, "invalid", "a password goes with an address").
				With("/email", "required", "say which address is yours")
		}
		if err := signin.CheckPassword("/password", *in.Password, a.password, s.Lab.Name, found.Name, *out.email); err != nil {
			return nil, err
		}
	}
	if in.IDToken != nil && !a.provider.Serves(s.Lab.ID) {
		return nil, errNoProvider()
	}
	return func(ctx context.Context) (any, error) {
		if in.Password != nil {
			if out.phc, err = a.hasher.Hash(ctx, *in.Password); err != nil {
				return nil, err
			}
		}
		if in.IDToken != nil {
			person, err := a.person(ctx, *in.IDToken, r.Clock)
			if err != nil {
				return nil, err
			}
			out.person = &person
		}
		return out, nil
	}, nil
}

// ownAddress is the address that somebody gives as theirs. Where the invitation
// has one it must be that: by it they are known.
func ownAddress(given string, invited *string) (*string, error) {
	clean, ok := lab.CleanEmail(given)
	if !ok {
		return nil, lab.Refuse(lab.Invalid, "invalid", "this is no address").With("/email", "not-an-address", "want one e-mail address, such as somebody@example.org")
	}
	if invited != nil && *invited != clean {
		return nil, lab.Refuse(lab.Invalid, "invalid", "the invitation is for another address").With("/email", "another", "the invitation is for another address")
	}
	return &clean, nil
}

func errInvitationOver() error {
	return unauthenticated("", "the invitation is unknown, used, withdrawn or expired; ask for a new one")
}

// acceptInvitation has the invited join, and signs them in.
func (a *API) acceptInvitation(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in acceptance) (Answer, error) {
	out, _ := r.prepared.(accepting)
	m, ok, err := signin.Accept(ctx, tx, s.Lab.ID, in.Secret, out.email, s.Now, r.Clock)
	if err == nil && !ok {
		err = errInvitationOver()
	}
	if err == nil && out.phc != "" {
		err = signin.SetPassword(ctx, tx, s.Lab.ID, m, out.phc, r.Clock)
	}
	if err == nil && out.person != nil {
		err = a.bind(ctx, tx, s.Lab.ID, m.ID, *in.IDToken, *out.person, r.Clock)
	}
	if err != nil {
		return Answer{}, err
	}
	t, err := a.begin(ctx, tx, r, s.Lab.ID, m.ID, signin.ByInvitation, in.Device)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/members/"+m.ID, t), nil
}
