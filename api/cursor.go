package api

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"net/url"
	"strconv"

	"wetside/lab"
)

const (
	usualLimit   = 50
	limitOfLimit = 200
	cursorMAC    = 16 // bytes
)

// cursorText takes each cursor in one spelling only.
var cursorText = base64.RawURLEncoding.Strict()

// A pager reads and writes cursors: base64url of a MAC and a list's key. The
// MAC covers the list's address and its filters, so that a cursor made for one
// question is refused for another, and none can be made up.
type pager struct{ key []byte }

// pageOf is the part of a list that a query asks for. limit is lowered to
// 200; one that is no positive number, and a cursor that is not ours or came
// from another question, are refused with Malformed.
func (p pager) pageOf(path string, query url.Values) (lab.Page, error) {
	page := lab.Page{Limit: usualLimit}
	r := lab.Refuse(lab.Malformed, "malformed", "the query is not what the contract says")
	if given, ok := query["limit"]; ok {
		n, err := strconv.ParseUint(given[0], 10, 32)
		if err != nil || n == 0 || len(given) > 1 {
			r.Faults = append(r.Faults, lab.Fault{Parameter: "limit", Code: "out-of-range", Detail: "want one number from 1 to 200"})
		}
		page.Limit = int(min(n, limitOfLimit))
	}
	if given := query.Get("cursor"); given != "" {
		raw, err := cursorText.DecodeString(given)
		if err != nil || len(raw) <= cursorMAC || !hmac.Equal(raw[:cursorMAC], p.mac(path, query, string(raw[cursorMAC:]))) {
			r.Faults = append(r.Faults, lab.Fault{Parameter: "cursor", Code: "not-ours",
				Detail: "this cursor does not belong to this list with these filters; begin without one"})
		} else {
			page.After = string(raw[cursorMAC:])
		}
	}
	return page, r.OrNil()
}

// sign makes the cursor of the page after the item with the given key.
func (p pager) sign(path string, query url.Values, after string) string {
	return cursorText.EncodeToString(append(p.mac(path, query, after), after...))
}

func (p pager) mac(path string, query url.Values, after string) []byte {
	filters := url.Values{}
	for name, values := range query {
		if name != "cursor" && name != "limit" {
			filters[name] = values
		}
	}
	m := hmac.New(sha256.New, p.key)
	for _, part := range []string{path, filters.Encode(), after} {
		m.Write([]byte(strconv.Itoa(len(part)) + ":" + part))
	}
	return m.Sum(nil)[:cursorMAC]
}

// next is the address of the next page, for Link.
func next(path string, query url.Values, cursor string) string {
	q := url.Values{}
	for name, values := range query {
		q[name] = values
	}
	q.Set("cursor", cursor)
	return path + "?" + q.Encode()
}
