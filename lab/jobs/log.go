package jobs

import (
	"context"
	"log/slog"
)

// warnings lets through what River says of things that went wrong, and not its
// every start, stop and count.
type warnings struct{ slog.Handler }

// Enabled says whether a level is let through.
func (w warnings) Enabled(ctx context.Context, level slog.Level) bool {
	return level >= slog.LevelWarn && w.Handler.Enabled(ctx, level)
}

// WithAttrs is the handler with attributes on every line.
func (w warnings) WithAttrs(attrs []slog.Attr) slog.Handler {
	return warnings{w.Handler.WithAttrs(attrs)}
}

// WithGroup is the handler with a group around every line's attributes.
func (w warnings) WithGroup(name string) slog.Handler { return warnings{w.Handler.WithGroup(name)} }
