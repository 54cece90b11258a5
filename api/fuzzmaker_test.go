package api_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"regexp"
	"regexp/syntax"
	"slices"
	"strings"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
)

// A maker makes values of the contract's schemas: out of what the lab's own
// answers and the contract's examples have by the same name, the ids that there
// are, and what the schemas allow.
type maker struct {
	f      *fuzz
	seen   map[string][]any    // by name of the property
	ids    map[string][]string // of the lab, by prefix
	others []string            // another lab's ids, and nobody's
}

func newMaker(f *fuzz) *maker {
	mk := &maker{f: f, seen: map[string][]any{}, ids: map[string][]string{}}
	mk.readIDs()
	for _, op := range f.operations {
		if op.example != nil {
			mk.learn(op.example)
		}
		if op.method != http.MethodGet || slices.Contains(lasting, op.id) {
			continue
		}
		for _, who := range f.m.callers {
			path := strings.ReplaceAll(op.path, "{lab}", f.m.told.Lab)
			for _, name := range op.contractOperation.parameters() {
				path = strings.ReplaceAll(path, "{"+name+"}", f.m.objects[0].ids[name])
			}
			if len(who.roles) == 0 {
				continue
			}
			a := probe{method: op.method, path: path, header: http.Header{"Authorization": {"Bearer " + who.token}, "Trial-Time": {f.m.now.Format(time.RFC3339)}}}
			if body, ok := f.get(a); ok {
				mk.learn(body)
			}
		}
	}
	return mk
}

// readIDs reads what ids there are, a few of each table.
func (mk *maker) readIDs() {
	m := mk.f.m
	for _, table := range tableNames(m.t, m.server) {
		rows, err := m.server.Pool.Query(m.t.Context(), `SELECT a.attname::text FROM pg_attribute a WHERE attrelid = $1::regclass
			AND attname IN ('id', 'lab_id') AND atttypid = 'text'::regtype`, table)
		if err != nil {
			m.t.Fatal(err)
		}
		n := 0
		for rows.Next() {
			n++
		}
		rows.Close()
		if n < 2 {
			continue
		}
		var own, others []string
		err = m.server.Pool.QueryRow(m.t.Context(), `SELECT coalesce((SELECT array_agg(id) FROM (SELECT id FROM `+table+` WHERE lab_id = $1 ORDER BY id DESC LIMIT 40) t), '{}'),
			coalesce((SELECT array_agg(id) FROM (SELECT id FROM `+table+` WHERE lab_id <> $1 LIMIT 2) t), '{}')`, m.told.Lab).Scan(&own, &others)
		if err != nil {
			m.t.Fatal(err)
		}
		for _, id := range own {
			prefix, _, _ := strings.Cut(id, "_")
			mk.ids[prefix] = append(mk.ids[prefix], id)
		}
		mk.others = append(mk.others, others...)
	}
	for _, id := range m.objects[3].ids {
		mk.others = append(mk.others, id)
	}
	slices.Sort(mk.others)
}

// learn takes from an answer what its properties are called and have.
func (mk *maker) learn(body []byte) {
	var v any
	if json.Unmarshal(body, &v) == nil {
		mk.note("", v)
	}
}

func (mk *maker) note(name string, v any) {
	switch v := v.(type) {
	case map[string]any:
		for _, key := range sortedKeys(v) {
			mk.note(key, v[key])
		}
	case []any:
		for _, item := range v {
			mk.note(name, item)
		}
	case nil:
	default:
		if have := mk.seen[name]; len(have) < 60 && !slices.Contains(have, v) {
			mk.seen[name] = append(have, v)
		}
	}
}

func pick[T any](r *rand.Rand, from []T) T { return from[r.IntN(len(from))] }

func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }

var patterns = map[string]*regexp.Regexp{}

// fits says whether a value seen elsewhere can be one of the schema.
func fits(s *openapi3.Schema, v any) bool {
	text, isText := v.(string)
	switch {
	case s.Type == nil:
		return false
	case isText && s.Type.Includes("string"):
		if s.Pattern != "" {
			if patterns[s.Pattern] == nil {
				patterns[s.Pattern] = regexp.MustCompile(s.Pattern)
			}
			if !patterns[s.Pattern].MatchString(text) {
				return false
			}
		}
		return uint64(len(text)) >= s.MinLength && (s.MaxLength == nil || uint64(len(text)) <= *s.MaxLength)
	case isText:
		return false
	}
	number, isNumber := v.(float64)
	_, isBool := v.(bool)
	return isBool && s.Type.Includes("boolean") ||
		isNumber && (s.Type.Includes("integer") && number == math.Trunc(number) || s.Type.Includes("number")) &&
			(s.Min == nil || number >= *s.Min) && (s.Max == nil || number <= *s.Max)
}

// value makes one that the schema allows, most of the time.
func (mk *maker) value(r *rand.Rand, s *openapi3.Schema, name string, depth int) any {
	for _, either := range [][]*openapi3.SchemaRef{s.OneOf, s.AnyOf} {
		if len(either) > 0 {
			return mk.value(r, pick(r, either).Value, name, depth+1)
		}
	}
	if len(s.AllOf) > 0 {
		return mk.value(r, s.AllOf[0].Value, name, depth+1)
	}
	if s.Const != nil {
		return s.Const
	}
	if len(s.Enum) > 0 {
		return pick(r, s.Enum)
	}
	if seen := mk.seen[name]; len(seen) > 0 && chance(r, 0.6) {
		for range 5 {
			if v := pick(r, seen); fits(s, v) {
				return v
			}
		}
	}
	kind := "string"
	if s.Type != nil && len(s.Type.Slice()) > 0 {
		kind = pick(r, s.Type.Slice())
	}
	switch kind {
	case "null":
		return nil
	case "boolean":
		return chance(r, 0.5)
	case "integer", "number":
		return mk.number(r, s)
	case "array":
		return mk.array(r, s, name, depth)
	case "object":
		return mk.object(r, s, depth)
	}
	return mk.text(r, s)
}

func (mk *maker) number(r *rand.Rand, s *openapi3.Schema) any {
	low, high := int64(0), int64(math.MaxInt64)
	if s.Min != nil {
		low = int64(*s.Min)
	}
	if s.Max != nil && *s.Max < math.MaxInt64 {
		high = int64(*s.Max)
	}
	switch r.IntN(8) {
	case 0:
		return low
	case 1:
		return high
	}
	size := pick(r, []int64{5, 60, 3000, 200000})
	if high-low < size {
		size = high - low
	}
	return low + r.Int64N(size+1)
}

func (mk *maker) array(r *rand.Rand, s *openapi3.Schema, name string, depth int) any {
	least, most := int(s.MinItems), 4
	if s.MaxItems != nil {
		most = min(most, int(*s.MaxItems))
	}
	items := []any{}
	if s.Items == nil || depth > 8 {
		return items
	}
	for range max(least, r.IntN(max(most, least)+1)) {
		v := mk.value(r, s.Items.Value, name, depth+1)
		if s.UniqueItems && slices.ContainsFunc(items, func(have any) bool { return fmt.Sprint(have) == fmt.Sprint(v) }) {
			continue
		}
		items = append(items, v)
	}
	return items
}

func (mk *maker) object(r *rand.Rand, s *openapi3.Schema, depth int) any {
	o := map[string]any{}
	given := pick(r, []float64{0, 0.3, 0.8})
	for _, name := range sortedKeys(s.Properties) {
		if slices.Contains(s.Required, name) || depth < 8 && chance(r, given) {
			o[name] = mk.value(r, s.Properties[name].Value, name, depth+1)
		}
	}
	if more := s.AdditionalProperties.Schema; more != nil && depth < 8 {
		for range r.IntN(4) {
			name := "role"
			if s.PropertyNames != nil {
				name = fmt.Sprint(mk.value(r, s.PropertyNames.Value, "role", depth+1))
			}
			o[name] = mk.value(r, more.Value, "", depth+1)
		}
	}
	if len(o) < int(s.MinProps) && len(s.Properties) > 0 {
		name := pick(r, sortedKeys(s.Properties))
		o[name] = mk.value(r, s.Properties[name].Value, name, depth+1)
	}
	return o
}

var (
	idPattern = regexp.MustCompile(`^\^(\w+)_\[0-9a-f\]\{32\}\$$`)
	words     = []string{"Harbour fair", "Second tray", "No hurry", "Été à Čakovec", "漢字", "O'Hara; --", "x"}
)

func (mk *maker) text(r *rand.Rand, s *openapi3.Schema) any {
	if m := idPattern.FindStringSubmatch(s.Pattern); m != nil {
		if ids := mk.ids[m[1]]; len(ids) > 0 && chance(r, 0.9) {
			return pick(r, ids)
		}
		return m[1] + "_" + fmt.Sprintf("%016x%016x", r.Uint64(), r.Uint64())
	}
	switch s.Format {
	case "date-time":
		return mk.instant(r).Format(pick(r, []string{time.RFC3339, time.RFC3339Nano}))
	case "date":
		return mk.instant(r).Format(time.DateOnly)
	case "duration":
		return pick(r, []string{"PT0S", "PT1S", "PT90S", "PT6M30S", "PT8H", "P1D", "P14D", "P90D", "P3650D", "PT1H1M1S"})
	case "temperature":
		return pick(r, []string{"20 °C", "38 °C", "37.8 °C", "0.25 °C", "24.5°C", "0 °C", "99.999 °C"})
	}
	if len(s.Examples) > 0 && chance(r, 0.5) {
		return pick(r, s.Examples)
	}
	if s.Pattern != "" && s.Pattern != `\S` {
		if parsed, err := syntax.Parse(s.Pattern, syntax.Perl); err == nil {
			return matching(r, parsed.Simplify())
		}
	}
	text := pick(r, words)
	for uint64(len(text)) < s.MinLength {
		text += text
	}
	if s.MaxLength != nil && uint64(len(text)) > *s.MaxLength {
		text = "x"
	}
	return text
}

// instant is one near the story's time, most of them on the quarter of an hour.
func (mk *maker) instant(r *rand.Rand) time.Time {
	at := mk.f.m.now
	switch r.IntN(10) {
	case 0:
		return pick(r, []time.Time{
			time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2100, 12, 31, 23, 59, 59, 999999999, time.UTC),
			time.Date(2027, 3, 28, 1, 30, 0, 0, time.UTC), time.Date(2026, 10, 25, 1, 30, 0, 0, time.UTC),
		})
	case 1:
		return at.Add(time.Duration(r.IntN(1000)-500) * time.Second)
	}
	return at.Truncate(15 * time.Minute).Add(time.Duration(r.IntN(4*24*28)-4*24*14) * 15 * time.Minute)
}

// matching makes a text that a regular expression matches.
func matching(r *rand.Rand, re *syntax.Regexp) string {
	switch re.Op {
	case syntax.OpLiteral:
		return string(re.Rune)
	case syntax.OpCharClass:
		at := 2 * r.IntN(len(re.Rune)/2)
		return string(re.Rune[at] + r.Int32N(min(re.Rune[at+1]-re.Rune[at], 100)+1))
	case syntax.OpAnyChar, syntax.OpAnyCharNotNL:
		return "x"
	case syntax.OpCapture:
		return matching(r, re.Sub[0])
	case syntax.OpAlternate:
		return matching(r, pick(r, re.Sub))
	case syntax.OpQuest:
		return strings.Repeat(matching(r, re.Sub[0]), r.IntN(2))
	case syntax.OpStar:
		return strings.Repeat(matching(r, re.Sub[0]), r.IntN(4))
	case syntax.OpPlus:
		return strings.Repeat(matching(r, re.Sub[0]), 1+r.IntN(4))
	case syntax.OpConcat:
		var b strings.Builder
		for _, sub := range re.Sub {
			b.WriteString(matching(r, sub))
		}
		return b.String()
	}
	return ""
}
