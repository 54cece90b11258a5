package loadtest

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"testing"
	"time"

	"wetside/deploy/load/labs"
)

// transport keeps a connection for every client.
func transport(clients int) *http.Transport {
	return &http.Transport{MaxIdleConns: clients, MaxIdleConnsPerHost: clients, IdleConnTimeout: time.Minute}
}

// An asked is a request to a lab.
type asked struct {
	method, path string // below the lab's
	body         any
	at           time.Time
	key          string // Idempotency-Key
	any          bool   // If-Match: *
}

// send sends a request as somebody. The status is 0 where no answer came.
func send(ctx context.Context, client *http.Client, url, lab, token string, a asked) (status int, header http.Header, body []byte) {
	var data []byte
	if a.body != nil {
		data, _ = json.Marshal(a.body) // of strings alone
	}
	req, err := http.NewRequestWithContext(ctx, a.method, url+"/v1/labs/"+lab+a.path, bytes.NewReader(data))
	if err != nil {
		return 0, nil, nil
	}
	if a.body != nil {
		req.Header.Set("Content-Type", "application/json")
		if a.method == http.MethodPatch {
			req.Header.Set("Content-Type", "application/merge-patch+json")
		}
	}
	req.Header.Set("Authorization", "Bearer "+token)
	req.Header.Set("Trial-Time", a.at.Format(time.RFC3339))
	if a.key != "" {
		req.Header.Set("Idempotency-Key", a.key)
	}
	if a.any {
		req.Header.Set("If-Match", "*")
	}
	resp, err := client.Do(req)
	if err != nil {
		return 0, nil, nil
	}
	defer func() { _ = resp.Body.Close() }()
	got, err := io.ReadAll(resp.Body)
	if err != nil {
		return 0, nil, nil
	}
	return resp.StatusCode, resp.Header, got
}

// signIn trades everybody's code for a token.
func signIn(t testing.TB, client *http.Client, url string, l *labs.Lab) {
	t.Helper()
	for _, p := range append([]*labs.Person{l.Steward}, l.Members...) {
		body, _ := json.Marshal(map[string]string{"code": p.Code})
		resp, err := client.Post(url+"/v1/tokens", "application/json", bytes.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		var got struct {
			AccessToken string `json:"access_token"`
		}
		err = json.NewDecoder(resp.Body).Decode(&got)
		_ = resp.Body.Close()
		if err != nil || got.AccessToken == "" {
			t.Fatalf("signing in: %s, %v", resp.Status, err)
		}
		p.Token = got.AccessToken
	}
}

// codeOf is the problem that a body says.
func codeOf(body []byte) string {
	var p struct{ Code string }
	_ = json.Unmarshal(body, &p) // none, if it is no problem
	return p.Code
}
