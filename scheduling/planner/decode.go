package planner

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// maxText is how much of a text is read, far more than the largest problem takes.
const maxText = 256 << 20

// DecodeProblem reads one Problem in JSON. It refuses fields that it does not
// know, more than 256 MiB, and anything after the problem; it does not
// validate, see [Problem.Validate].
func DecodeProblem(r io.Reader) (*Problem, error) {
	text := &io.LimitedReader{R: r, N: maxText}
	d := json.NewDecoder(text)
	d.DisallowUnknownFields()
	var p Problem
	if err := d.Decode(&p); err != nil {
		if text.N <= 0 {
			return nil, fmt.Errorf("reading a planning problem: it is longer than %d MiB; one of %d rolls, the most there may be, takes a few", maxText>>20, MaxRolls)
		}
		return nil, fmt.Errorf("reading a planning problem: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("reading a planning problem: more follows after it, at byte %d", d.InputOffset())
	}
	return &p, nil
}
