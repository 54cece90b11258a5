package demo

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"wetside/lab"
)

// A Problem is a call that was answered with a no.
type Problem struct {
	Call   string      `json:"-"`
	Status int         `json:"status"`
	Code   string      `json:"code"`
	Title  string      `json:"title"`
	Detail string      `json:"detail"`
	Errors []lab.Fault `json:"errors"`
}

// Error is the call, the status, and everything the problem document says.
func (p *Problem) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: answered %d %s: %s", p.Call, p.Status, p.Code, p.Detail)
	for _, f := range p.Errors {
		fmt.Fprintf(&b, "\n  %s%s %s: %s", f.Pointer, f.Parameter, f.Code, f.Detail)
	}
	return b.String()
}

// Has says whether one of the problem's faults has the code.
func (p *Problem) Has(code string) bool {
	for _, f := range p.Errors {
		if f.Code == code {
			return true
		}
	}
	return false
}

// A clock is the time that the story is at; the zero one is the server's own.
type clock struct{ now time.Time }

// A client calls the API with one token.
type client struct {
	http  *http.Client
	url   string
	token string
	clock *clock
}

// as is the same client with another token.
func (c *client) as(token string) *client {
	other := *c
	other.token = token
	return &other
}

func (c *client) get(ctx context.Context, path string, out any) (etag string, err error) {
	return c.call(ctx, http.MethodGet, path, "", nil, out)
}

func (c *client) post(ctx context.Context, path string, in, out any) error {
	_, err := c.call(ctx, http.MethodPost, path, "", in, out)
	return err
}

// call sends a request and decodes its answer into out, unless that is nil; into
// a string it goes as it is. An answer that says no is a *Problem.
func (c *client) call(ctx context.Context, method, path, etag string, in, out any) (string, error) {
	var body io.Reader
	if in != nil {
		text, err := json.Marshal(in)
		if err != nil {
			return "", fmt.Errorf("%s %s: %w", method, path, err)
		}
		body = bytes.NewReader(text)
	}
	req, err := http.NewRequestWithContext(ctx, method, c.url+path, body)
	if err != nil {
		return "", err
	}
	switch {
	case in != nil && method == http.MethodPatch:
		req.Header.Set("Content-Type", "application/merge-patch+json")
	case in != nil:
		req.Header.Set("Content-Type", "application/json")
	}
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	if etag != "" {
		req.Header.Set("If-Match", etag)
	}
	if !c.clock.now.IsZero() {
		req.Header.Set("Trial-Time", c.clock.now.UTC().Format(time.RFC3339Nano))
		if method != http.MethodGet {
			// Ids go by time: things done one after another stay in that order.
			c.clock.now = c.clock.now.Add(time.Second)
		}
	}
	resp, err := c.http.Do(req)
	if err != nil {
		return "", err
	}
	defer func() { _ = resp.Body.Close() }()
	got, err := io.ReadAll(resp.Body)
	if err != nil {
		return "", fmt.Errorf("%s %s: %w", method, path, err)
	}
	if resp.StatusCode >= 400 {
		p := &Problem{Call: method + " " + path, Status: resp.StatusCode}
		if err := json.Unmarshal(got, p); err != nil {
			p.Detail = string(got)
		}
		return "", p
	}
	if text, plain := out.(*string); plain {
		*text = string(got)
	} else if out != nil {
		if err := json.Unmarshal(got, out); err != nil {
			return "", fmt.Errorf("%s %s: read answer: %w", method, path, err)
		}
	}
	return resp.Header.Get("ETag"), nil
}

// all reads every page of a list.
func all[T any](ctx context.Context, c *client, path string) ([]T, error) {
	var items []T
	for cursor := ""; ; {
		at, sep := path, "?"
		if strings.Contains(path, "?") {
			sep = "&"
		}
		at += sep + "limit=200"
		if cursor != "" {
			at += "&cursor=" + url.QueryEscape(cursor)
		}
		var page struct {
			Items []T    `json:"items"`
			Next  string `json:"next_cursor"`
		}
		if _, err := c.get(ctx, at, &page); err != nil {
			return nil, err
		}
		items = append(items, page.Items...)
		if cursor = page.Next; cursor == "" {
			return items, nil
		}
	}
}

// signIn trades a code for a token.
func (c *client) signIn(ctx context.Context, code string) (string, error) {
	var t struct {
		AccessToken string `json:"access_token"`
	}
	err := c.as("").post(ctx, "/v1/tokens", map[string]string{"code": code}, &t)
	return t.AccessToken, err
}
