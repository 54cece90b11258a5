package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
)

// A rendered answer is what goes over the wire, and what is kept.
type rendered struct {
	status int
	header map[string]string
	body   []byte
}

// render writes an Answer out as status, header and JSON.
func (c *call) render(a Answer) (rendered, error) {
	out := rendered{status: a.Status, header: map[string]string{}}
	if a.Location != "" {
		out.header["Location"] = a.Location
	}
	if a.cursor != "" {
		path := c.http.URL.Path
		signed := c.api.pager.sign(path, c.req.query, a.cursor)
		a.Body = a.signed(signed)
		out.header["Link"] = "<" + next(path, c.req.query, signed) + `>; rel="next"`
	}
	if a.text != nil {
		out.header["Content-Type"], out.body = a.media, a.text
		if a.tagged {
			out.header["ETag"] = digestTag(a.text)
		}
		return out, nil
	}
	if a.Body == nil {
		return out, nil
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(a.Body); err != nil {
		return rendered{}, fmt.Errorf("render answer: %w", err)
	}
	out.body = b.Bytes()
	out.header["Content-Type"] = "application/json"
	if resource, ok := a.Body.(revisioned); ok {
		out.header["ETag"] = tagOf(resource.Revision(), out.body)
	}
	return out, nil
}

// write sends an answer, or 304 if the caller has it already.
func (a rendered) write(w http.ResponseWriter, r *http.Request) {
	for name, value := range a.header {
		w.Header().Set(name, value)
	}
	w.Header().Set("Cache-Control", "no-store")
	if tag := a.header["ETag"]; tag != "" && a.status == http.StatusOK && unchanged(r.Header, tag) &&
		(r.Method == http.MethodGet || r.Method == http.MethodHead) {
		w.Header().Del("Content-Type")
		w.WriteHeader(http.StatusNotModified)
		return
	}
	w.WriteHeader(a.status)
	_, _ = w.Write(a.body) // nobody is left to tell when the caller has gone
}
