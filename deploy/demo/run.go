package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
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
	return Print(w, board, told, o.client().url)
}
