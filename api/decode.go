package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"wetside/lab"
)

// Bounds of a body. All numbers in the contract are integers below 2⁵³, so
// anything longer is a mistake or an attempt to make us compute with it.
const (
	maxBody   = 1 << 20
	maxDepth  = 32
	maxNumber = 24
)

// parseJSON reads a body strictly: one JSON value in UTF-8, objects without
// duplicate members, nothing after it, no NUL in texts (PostgreSQL cannot keep
// it) and no broken characters, no fractions or exponents. It refuses with Malformed, naming the field or the offset.
func parseJSON(data []byte) (any, error) {
	switch {
	case len(bytes.TrimSpace(data)) == 0:
		return nil, lab.Refuse(lab.Malformed, "malformed", "the body is empty; this takes a JSON object")
	case !utf8.Valid(data):
		return nil, lab.Refuse(lab.Malformed, "malformed", "the body is not UTF-8")
	}
	var syntax *json.SyntaxError
	var probe json.RawMessage
	if err := json.Unmarshal(data, &probe); errors.As(err, &syntax) {
		return nil, lab.Refuse(lab.Malformed, "malformed", "the body is not JSON: %s, at byte %d", syntax.Error(), syntax.Offset)
	} else if err != nil {
		return nil, lab.Refuse(lab.Malformed, "malformed", "the body is not JSON")
	}
	w := walker{dec: json.NewDecoder(bytes.NewReader(data))}
	w.dec.UseNumber()
	value, err := w.value(0)
	if errors.Is(err, errTooDeep) {
		return nil, lab.Refuse(lab.Malformed, "malformed", "the body nests deeper than %d levels", maxDepth)
	}
	if err != nil {
		return nil, err
	}
	if len(w.faults) > 0 {
		return nil, &lab.Refusal{Kind: lab.Malformed, Code: "malformed",
			Detail: "the body is not what the contract says", Faults: w.faults}
	}
	return value, nil
}

var errTooDeep = errors.New("too deep")

// A walker reads valid JSON into values and notes what is wrong in them.
type walker struct {
	dec    *json.Decoder
	path   []string
	faults []lab.Fault
}

func (w *walker) fault(code, detail string) {
	w.faults = append(w.faults, lab.Fault{Pointer: pointer(w.path), Code: code, Detail: detail})
}

// in runs f with a step further down the path.
func (w *walker) in(token string, f func() error) error {
	w.path = append(w.path, token)
	defer func() { w.path = w.path[:len(w.path)-1] }()
	return f()
}

func (w *walker) value(depth int) (any, error) {
	if depth > maxDepth {
		return nil, errTooDeep
	}
	token, err := w.dec.Token()
	if err != nil {
		return nil, err
	}
	switch t := token.(type) {
	case json.Delim:
		if t == '{' {
			return w.object(depth)
		}
		return w.array(depth)
	case json.Number:
		if len(t) > maxNumber || strings.ContainsAny(t.String(), ".eE") {
			w.fault("wrong-type", "want a whole number in plain digits")
		}
	case string:
		if strings.ContainsRune(t, 0) {
			w.fault("control-character", "a text may not hold NUL")
		}
		// What half of a surrogate pair is decoded to as well.
		if strings.ContainsRune(t, utf8.RuneError) {
			w.fault("broken-character", "a character of this text was lost before it came here")
		}
	}
	return token, nil
}

func (w *walker) object(depth int) (any, error) {
	object := map[string]any{}
	for w.dec.More() {
		name, err := w.dec.Token()
		if err != nil {
			return nil, err
		}
		key, _ := name.(string) // valid JSON has nothing else here
		err = w.in(key, func() error {
			if _, twice := object[key]; twice {
				w.fault("duplicate", "this field is given twice")
			}
			v, err := w.value(depth + 1)
			object[key] = v
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	_, err := w.dec.Token()
	return object, err
}

func (w *walker) array(depth int) (any, error) {
	array := []any{}
	for w.dec.More() {
		err := w.in(strconv.Itoa(len(array)), func() error {
			v, err := w.value(depth + 1)
			array = append(array, v)
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	_, err := w.dec.Token()
	return array, err
}

// pointer writes a path as a JSON Pointer (RFC 6901).
func pointer(path []string) string {
	var b strings.Builder
	for _, token := range path {
		b.WriteByte('/')
		b.WriteString(strings.NewReplacer("~", "~0", "/", "~1").Replace(token))
	}
	return b.String()
}

// decodeInto decodes a body that held to the contract into a handler's input.
// What still does not fit (a number beyond 64 bits, a field that the program
// does not know) is refused with Malformed.
func decodeInto(data []byte, into any) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	err := dec.Decode(into)
	if err == nil || errors.Is(err, io.EOF) {
		return nil
	}
	r := lab.Refuse(lab.Malformed, "malformed", "the body is not what the contract says")
	var wrong *json.UnmarshalTypeError
	switch name, unknown := strings.CutPrefix(err.Error(), "json: unknown field "); {
	case errors.As(err, &wrong):
		return r.With(pointer(strings.Split(wrong.Field, ".")), "wrong-type", "%s does not fit here", wrong.Value)
	case unknown:
		return r.With("/"+strings.Trim(name, `"`), "unknown-field", "there is no such field")
	default:
		return r.With("", "wrong-type", "%v", err)
	}
}
