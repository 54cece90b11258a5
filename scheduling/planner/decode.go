package planner

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// DecodeProblem reads one Problem in JSON. It refuses fields that it does not
// know and anything after the problem; it does not validate, see
// [Problem.Validate].
func DecodeProblem(r io.Reader) (*Problem, error) {
	d := json.NewDecoder(r)
	d.DisallowUnknownFields()
	var p Problem
	if err := d.Decode(&p); err != nil {
		return nil, fmt.Errorf("reading a planning problem: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("reading a planning problem: more follows after it, at byte %d", d.InputOffset())
	}
	return &p, nil
}
