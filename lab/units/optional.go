package units

import "encoding/json"

// Optional is a field of a merge patch (RFC 7396), where absent (not Given)
// leaves what is there, null (To is nil) takes it away, and a value sets it.
type Optional[T any] struct {
	Given bool
	To    *T
}

// UnmarshalJSON reads null or a T; that it is called at all says that the field was there.
func (o *Optional[T]) UnmarshalJSON(b []byte) error {
	o.Given = true
	return json.Unmarshal(b, &o.To)
}

// MarshalJSON writes the value or null; leave fields that are not given out with omitzero.
func (o Optional[T]) MarshalJSON() ([]byte, error) { return json.Marshal(o.To) }
