package api_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/url"
	"slices"
	"strings"
)

// change changes one thing of a request, and gives its body.
func (f *fuzz) change(r *rand.Rand, op fuzzOperation, a *probe, body any) any {
	say := func(format string, args ...any) { a.changes = append(a.changes, fmt.Sprintf(format, args...)) }
	if op.body != nil && chance(r, 0.65) {
		if a.body != nil {
			return body
		}
		if chance(r, 0.15) {
			text := string(tame(op, body))
			a.body = []byte(pick(r, []func() string{
				func() string { return text[:r.IntN(len(text))] },
				func() string { return text + pick(r, []string{"{}", ",", "\x00", " null", "]"}) },
				func() string { return "\ufeff" + text },
				func() string { return "[" + text + "]" },
				func() string { return strings.Repeat("[", 100000) },
				func() string { return strings.Repeat(`{"a":`, 5000) },
				func() string {
					return pick(r, []string{"", " ", "null", "0", `""`, "[]", "{}", "true", "nul", "'", "\xff\xfe{\x00}\x00"})
				},
				func() string { return strings.Replace(text, `"`, `"\ud800`, 1+r.IntN(4)) },
				func() string { return strings.Replace(text, "{", `{"a\u0000b":1,`, 1) },
				func() string { at := r.IntN(len(text)); return text[:at] + string(rune(r.IntN(256))) + text[at:] },
				func() string { // a field twice
					if i := strings.IndexByte(text, ','); i > 1 && text[0] == '{' {
						return text[:i] + "," + text[1:]
					}
					return text
				},
				func() string { return `{"padding":"` + strings.Repeat("x", 1<<20) + `"}` },
			})())
			say("raw body")
			return body
		}
		holder := []any{body}
		at := f.place(r, holder, 0)
		say("%s", at)
		return holder[0]
	}
	switch r.IntN(6) {
	case 0:
		f.changePath(r, a)
		say("path")
	case 1:
		f.changeQuery(r, op, a)
		say("query")
	case 2:
		a.method = pick(r, []string{"GET", "POST", "PUT", "PATCH", "DELETE", "HEAD", "OPTIONS", "TRACE", "PROPFIND", "get"})
		say("method")
	case 3:
		who := pick(r, f.m.callers)
		a.header.Set("Authorization", pick(r, []string{
			"Bearer " + who.token, "Bearer " + who.token, "Bearer " + who.token, "Bearer", "Basic eDp5", "bearer " + who.token, "Bearer a.b.c", "Bearer " + strings.Repeat("x", 9000),
		}))
		say("caller")
	case 4:
		if op.body == nil {
			a.body = []byte(pick(r, []string{"{}", "x", `{"a":1}`, strings.Repeat(" ", 70000)}))
			say("body where none is wanted")
			return body
		}
		fallthrough
	default:
		f.changeHeader(r, a)
		say("header")
	}
	return body
}

func (f *fuzz) changePath(r *rand.Rand, a *probe) {
	parts := strings.Split(a.path, "/")
	i := 1 + r.IntN(len(parts)-1)
	odd := []string{
		"", ".", "..", "%00", "%2F", "%2e%2e", "%", "%zz", "a%20b", "%F0%9F%8E%9E", "%FF", strings.Repeat("x", 3000), "'", "%27%3B--", "{lab}",
		"lab_00000000000000000000000000000000", strings.ToUpper(parts[i]), parts[i] + "%00", parts[i] + "%20", parts[i] + "/", parts[i] + "/extra", "0", "-1", "*",
	}
	switch {
	case strings.Contains(parts[i], "_") && chance(r, 0.5):
		parts[i] = pick(r, f.maker.others)
		if prefix, _, _ := strings.Cut(parts[i], "_"); chance(r, 0.3) && len(f.maker.ids[prefix]) > 0 {
			parts[i] = pick(r, f.maker.ids[prefix])
		}
	default:
		parts[i] = pick(r, odd)
	}
	a.path, a.elsewhere = strings.Join(parts, "/"), true
	if _, err := url.ParseRequestURI(a.path); err != nil || !strings.HasPrefix(a.path, "/") {
		a.path = "/v1/labs/%00"
	}
}

func (f *fuzz) changeQuery(r *rand.Rand, op fuzzOperation, a *probe) {
	name := pick(r, []string{"limit", "cursor", "x", "from", "member", "", "a[]", "%00", "__proto__"})
	var known []string
	for _, p := range op.parameters {
		if p.In == "query" {
			known = append(known, p.Name)
		}
	}
	if len(known) > 0 && chance(r, 0.8) {
		name = pick(r, known)
	}
	value := pick(r, []string{
		"", "0", "-1", "1e9", "99999999999999999999", "9223372036854775807", "1.5", "null", "true", "%00", "%FF", "%F0%9F%8E%9E", strings.Repeat("9", 400), strings.Repeat("x", 5000),
		"%27%20OR%201=1--", "2026-13-45T99:99:99Z", "2026-11-25T08:30:00%2B23:59", "0000-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "2026-11-25T08:30:60Z", "38%20%C2%B0F", "-273.15%20%C2%B0C",
		"999%20%C2%B0C", "eyJhIjoxfQ", url.QueryEscape(pick(r, f.maker.others)),
	})
	switch r.IntN(4) {
	case 0: // instead
		a.query = name + "=" + value
	case 1:
		a.query += pick(r, []string{"&&", ";", "%zz", "=", "&%=%", "&a;b=c", "?"})
	default:
		a.query = strings.TrimPrefix(a.query+"&"+name+"="+value, "&")
	}
}

func (f *fuzz) changeHeader(r *rand.Rand, a *probe) {
	name, values := "", []string{}
	switch r.IntN(10) {
	case 0:
		name, values = "Content-Type", []string{"", "text/plain", "application/json; charset=latin1", "application/json;;", "application/xml", "multipart/form-data; boundary=x", "application/JSON", "application/json; charset=UTF-8", "application/merge-patch+json", "*/*"}
	case 1:
		name, values = "If-Match", []string{"", "v1", `"v0"`, `"v1"`, `W/"v1"`, `"v999999999999999999"`, `"v99999999999999999999"`, `"`, `"a,b", *`, `*, *`, strings.Repeat(`"v1",`, 300), "\"\u00e9\""}
	case 2:
		name, values = "If-None-Match", []string{"", "*", `"`, strings.Repeat(`"x",`, 400), "W/"}
	case 3:
		name, values = "Idempotency-Key", []string{"", `"`, `""`, "k", "k,k", strings.Repeat("k", 258), "\u00e9", "a b"}
	case 4:
		name, values = "Trial-Time", []string{"", "now", "2000-01-01T00:00:00Z", "2100-12-31T23:59:59Z", "1999-12-31T23:59:59Z", "2026-11-25T08:30:00", "2027-03-28T01:30:00Z", "2026-11-25T08:30:00+14:00"}
	case 5:
		name, values = "Accept", []string{"text/html", "text/event-stream", "application/xml", "*/*;q=0", "application/json;q=2", "", ",", "application/problem+json"}
	case 6:
		name, values = "Content-Encoding", []string{"gzip", "identity", "br, gzip", ""}
	case 7:
		name, values = "X-Request-Id", []string{"", "a b", strings.Repeat("x", 200), "\u00e9", "ok-1"}
	case 8:
		name, values = "Last-Event-ID", []string{"", "-1", "99999999999999999999", strings.Repeat("x", 201), "x"}
	case 9:
		name, values = pick(r, []string{"Range", "Expect", "Transfer-Encoding", "X-HTTP-Method-Override", "X-Forwarded-For", "Forwarded", "Origin", "Cookie", "Accept-Language", "Prefer"}),
			[]string{"bytes=0-1", "chunked", "DELETE", "203.0.113.1, 2001:db8::1", "for=unknown", "null", "https://elsewhere.example", "a=b;;=", "respond-async"}
	}
	if name == "Expect" || name == "Transfer-Encoding" {
		return // the client's own business
	}
	if chance(r, 0.15) {
		a.header.Del(name)
		return
	}
	a.header.Set(name, pick(r, values))
	if chance(r, 0.2) && !slices.Contains([]string{"Content-Type", "Content-Encoding"}, name) {
		a.header.Add(name, pick(r, values))
	}
}

// place goes down a JSON value to a place drawn at random, changes what is there,
// and says what it did.
func (f *fuzz) place(r *rand.Rand, in []any, i int) string {
	switch v := in[i].(type) {
	case map[string]any:
		if len(v) > 0 && chance(r, 0.8) {
			key := pick(r, sortedKeys(v))
			switch r.IntN(12) {
			case 0:
				delete(v, key)
				return "without " + key
			case 1:
				v[pick(r, []string{"extra", "id", "lab_id", strings.ToUpper(key), "", "__proto__", "\u0000", strings.Repeat("k", 3000)})] = v[key]
				return "one more than " + key
			}
			holder := []any{v[key]}
			what := f.place(r, holder, 0)
			v[key] = holder[0]
			return key + "/" + what
		}
	case []any:
		if len(v) > 0 && chance(r, 0.7) {
			return "item/" + f.place(r, v, r.IntN(len(v)))
		}
		if len(v) > 0 && chance(r, 0.6) {
			times := pick(r, []int{2, 10, 600})
			many := []any{}
			for range times {
				many = append(many, v...)
			}
			in[i] = many
			return fmt.Sprintf("%d times", times)
		}
	}
	in[i] = f.odd(r, in[i])
	return fmt.Sprintf("%.60q", fmt.Sprint(in[i]))
}

// odd is a value in another's place: at and beyond bounds, of another type, another's.
func (f *fuzz) odd(r *rand.Rand, was any) any {
	if text, isText := was.(string); isText && chance(r, 0.75) {
		return f.oddText(r, text)
	}
	if n, isNumber := number(was); isNumber && chance(r, 0.75) {
		return pick(r, []any{
			0, -1, 1, n + 1, n - 1, -n, n * 1000, 2147483647, 2147483648, -2147483649, json.Number("9007199254740993"), json.Number("9223372036854775807"), json.Number("-9223372036854775808"),
			json.Number("9223372036854775808"), json.Number("1e400"), json.Number("1e2"), json.Number("1.0"), json.Number("-0"), 0.5, json.Number("1000000000000"), json.Number("1000000000001"), 100, 1000, 1000000, 100000000,
		})
	}
	return pick(r, []any{nil, true, false, 0, -1, 1.5, "", "x", []any{}, map[string]any{}, []any{nil}, map[string]any{"a": map[string]any{}}, []any{was, was}, json.Number("1e999"), "0"})
}

func (f *fuzz) oddText(r *rand.Rand, was string) any {
	if prefix, rest, isID := strings.Cut(was, "_"); isID && len(rest) == 32 && chance(r, 0.7) {
		ids := f.maker.ids[prefix]
		kinds := sortedKeys(f.maker.ids)
		return pick(r, []string{
			pick(r, append(ids, was)), pick(r, append(ids, was)), pick(r, f.maker.others), pick(r, f.maker.ids[pick(r, kinds)]), prefix + "_" + strings.Repeat("0", 32),
			prefix + "_" + strings.Repeat("f", 32), strings.ToUpper(was), was + " ", rest,
		})
	}
	return pick(r, []string{
		"", " ", "\t\n", was + " ", was + was, was + "\u0000", was + "\n", "\u202e" + was, was + "\u0301", "😀", "\ufffd", strings.Repeat("x", 100), strings.Repeat("é", 201), strings.Repeat("x", 501), strings.Repeat("x", 2001),
		strings.Repeat("x", 70000), strings.Repeat("\U0001f39e", 1000), "'; DROP TABLE labs; --", "%s%n", "<script>", "../../etc", "=1+1", "\u0085", "\u2028", strings.ToUpper(was),
		"2000-01-01T00:00:00Z", "2100-12-31T23:59:59.999999999Z", "2100-12-31T23:59:59-23:59", "2026-11-25T08:30:60Z", "2027-03-28T01:30:00+00:00", "2026-02-30", "2026-02-28", "2100-12-31", "2000-01-01", "0001-01-01",
		"PT0S", "PT1S", "P36500D", "PT876000H", "PT9999999999S", "P99999D", "-PT1S", "P1M", "PT0.5S", "P1D", "100 °F", "-300 °C", "999.999 °C", "0 °C", "-0 °C", "38 °C", "1 °C", "37.8001 °C",
		"https://127.0.0.1/", "https://hooks.example/", "http://hooks.example:99999/", "ftp://x", "a@b", "a@b.example", strings.Repeat("a", 250) + "@b.example", "Europe/Dublin", "Etc/GMT+12", "Local", "EUR", "XXX", "JPY", "BHD", "ZZZ",
		"FREQ=SECONDLY", "FREQ=WEEKLY;BYDAY=MO", "FREQ=DAILY;COUNT=1000000000", "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "2026-W53", "2026-W54", "2100-W53", "2000-W01", "2026-13", "2000-01", "2100-12", "24:00", "23:59:60", "fund",
	})
}
