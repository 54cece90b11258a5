package api_test

import (
	"net/http"
	"testing"

	"wetside/api/apitest"
	"wetside/lab"
)

// tokens are the answer to signing in.
type tokens struct {
	AccessToken  string `json:"access_token"`
	RefreshToken string `json:"refresh_token"`
	Lab, Member  string
	SignIn       string `json:"sign_in"`
}

// signedIn signs a member in anew by a code that the keeper issues.
func signedIn(t *testing.T, s *apitest.Server, keeper *apitest.Client, member string) tokens {
	t.Helper()
	code := apitest.As[lab.SignInCode](keeper.For(t).Post(keeper.Path("members", member, "sign-in-codes"), nil).Want(http.StatusCreated)).Code
	return apitest.As[tokens](s.Anyone(t).Post("/v1/tokens", map[string]string{"code": code, "device": "Telephone"}).Want(http.StatusOK))
}
