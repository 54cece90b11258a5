package apitest

import (
	"bytes"
	"io"
	"net/http"
	"testing"
)

// HTTP is a client for programs that call the API by themselves: every
// exchange of theirs is held against the contract, as Client.Do does.
func HTTP(t testing.TB) *http.Client { return &http.Client{Transport: held{t}} }

// held is a RoundTripper that fails its test where the contract is broken.
type held struct{ t testing.TB }

// RoundTrip sends the request by the default transport.
func (h held) RoundTrip(req *http.Request) (*http.Response, error) {
	var sent []byte
	if req.Body != nil {
		var err error
		if sent, err = io.ReadAll(req.Body); err != nil {
			return nil, err
		}
		_ = req.Body.Close()
	}
	out := req.Clone(req.Context())
	out.Body = io.NopCloser(bytes.NewReader(sent))
	resp, err := http.DefaultTransport.RoundTrip(out)
	if err != nil {
		return nil, err
	}
	got, err := io.ReadAll(resp.Body)
	_ = resp.Body.Close()
	if err != nil {
		return nil, err
	}
	if err := Hold(req, sent, resp, got); err != nil {
		h.t.Errorf("%s %s, answered %d: against the contract: %v\n%.2000s", req.Method, req.URL.Path, resp.StatusCode, err, got)
	}
	resp.Body = io.NopCloser(bytes.NewReader(got))
	return resp, nil
}
