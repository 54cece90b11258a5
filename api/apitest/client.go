package apitest

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"
)

// A Client calls a server as one member, or as nobody.
type Client struct {
	LabID, MemberID string

	t      testing.TB
	server *Server
	token  string
	header http.Header
}

// For is the same client in another test, such as a subtest.
func (c *Client) For(t testing.TB) *Client {
	other := c.With("", "")
	other.t = t
	return other
}

// With is the same client sending another header; an empty name changes nothing.
func (c *Client) With(name, value string) *Client {
	other := *c
	other.header = c.header.Clone()
	if other.header == nil {
		other.header = http.Header{}
	}
	if name != "" {
		other.header.Set(name, value)
	}
	return &other
}

// At is the same client living at another instant (Trial-Time).
func (c *Client) At(now time.Time) *Client {
	return c.With("Trial-Time", now.Format(time.RFC3339Nano))
}

// Token is the client's bearer token.
func (c *Client) Token() string { return c.token }

// WithToken is the same client showing another token.
func (c *Client) WithToken(token string) *Client {
	other := c.With("", "")
	other.token = token
	return other
}

// Path is a path in the client's lab.
func (c *Client) Path(parts ...string) string {
	return "/v1/labs/" + strings.Join(append([]string{c.LabID}, parts...), "/")
}

// Get sends a GET.
func (c *Client) Get(path string) *Response { return c.Do(http.MethodGet, path, nil) }

// Post sends a POST. A body that is not a string or bytes is sent as JSON.
func (c *Client) Post(path string, body any) *Response { return c.Do(http.MethodPost, path, body) }

// Patch sends a merge patch for the revision that etag names.
func (c *Client) Patch(path, etag string, body any) *Response {
	return c.With("If-Match", etag).Do(http.MethodPatch, path, body)
}

// Delete sends a DELETE for the revision that etag names.
func (c *Client) Delete(path, etag string) *Response {
	return c.With("If-Match", etag).Do(http.MethodDelete, path, nil)
}

// Do sends a request and holds it and its answer against the contract. It
// may be called from other goroutines than the test's.
func (c *Client) Do(method, path string, body any) *Response {
	c.t.Helper()
	data := encode(c.t, body)
	req, err := c.request(c.t.Context(), method, path, data)
	if err != nil {
		c.t.Error(err)
		return &Response{t: c.t, header: http.Header{}}
	}
	if _, said := c.header["Content-Type"]; body != nil && !said {
		req.Header.Set("Content-Type", "application/json")
		if method == http.MethodPatch {
			req.Header.Set("Content-Type", "application/merge-patch+json")
		}
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		c.t.Error(err)
		return &Response{t: c.t, header: http.Header{}}
	}
	defer func() { _ = resp.Body.Close() }()
	got, err := readBody(resp)
	if err != nil {
		c.t.Error(err)
	}
	r := &Response{t: c.t, what: method + " " + path, Status: resp.StatusCode, header: resp.Header, Body: got}
	if err := Hold(req, data, resp, got); err != nil {
		c.t.Errorf("%s, answered %d: against the contract: %v\n%s", r.what, r.Status, err, got)
	}
	return r
}

// readBody reads an answer; of one that goes on for ever, a stream of events,
// how it begins.
func readBody(resp *http.Response) ([]byte, error) {
	if !strings.HasPrefix(resp.Header.Get("Content-Type"), eventStream) {
		return io.ReadAll(resp.Body)
	}
	begins := make([]byte, 4096)
	n, err := resp.Body.Read(begins)
	if err == io.EOF {
		err = nil
	}
	return begins[:n], err
}

// request makes a request of the client's: its token, its headers.
func (c *Client) request(ctx context.Context, method, path string, data []byte) (*http.Request, error) {
	req, err := http.NewRequestWithContext(ctx, method, c.server.URL+path, bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	for name, values := range c.header {
		req.Header[name] = values
	}
	return req, nil
}

func encode(t testing.TB, body any) []byte {
	switch b := body.(type) {
	case nil:
		return nil
	case string:
		return []byte(b)
	case []byte:
		return b
	}
	data, err := json.Marshal(body)
	if err != nil {
		t.Error(err)
	}
	return data
}
