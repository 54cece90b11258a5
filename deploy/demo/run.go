package demo

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// Run loads the demo where it is not there yet, and prints it to w.
func Run(ctx context.Context, o Options, w io.Writer) error {
	var told *Told
	board, err := Read(ctx, o)
	if errors.Is(err, ErrAbsent) {
		if told, err = Play(ctx, o); err != nil {
			return fmt.Errorf("the demo stops: %w", err)
		}
		board, err = Read(ctx, o)
	}
	if err != nil {
		return err
	}
	if o.Save != "" {
		if err := board.save(o.Save); err != nil {
			return err
		}
	}
	return Print(w, board, told, o.client().url)
}

// save writes the week's problem and plan into a folder, as problem.json and
// plan.json.
func (b *Board) save(folder string) error {
	for name, v := range map[string]any{"problem.json": b.Plan.Problem, "plan.json": b.Plan.Plan} {
		text, err := json.MarshalIndent(v, "", "  ")
		if err != nil {
			return fmt.Errorf("save %s: %w", name, err)
		}
		if err := os.WriteFile(filepath.Join(folder, name), append(text, '\n'), 0o644); err != nil {
			return err
		}
	}
	return nil
}
