package main

import (
	"context"
	"io"
	"log/slog"
	"os"
)

// newLog writes the service's log. Where the service manager reads it, times are left out, since it adds its own, and
// each line begins with its level in the manner of sd-daemon(3), so that `journalctl -p warning` finds what matters.
func newLog(w io.Writer) *slog.Logger {
	if os.Getenv("JOURNAL_STREAM") == "" {
		return slog.New(slog.NewTextHandler(w, nil))
	}
	bare := &slog.HandlerOptions{Level: slog.LevelDebug, ReplaceAttr: func(groups []string, a slog.Attr) slog.Attr {
		if len(groups) == 0 && (a.Key == slog.TimeKey || a.Key == slog.LevelKey) {
			return slog.Attr{}
		}
		return a
	}}
	var l levelled
	for i, prefix := range []string{"<7>", "<6>", "<4>", "<3>"} { // debug, info, warning, error
		l.by[i] = slog.NewTextHandler(prefixed{w, prefix}, bare)
	}
	return slog.New(l)
}

// levelled has a handler for each level.
type levelled struct{ by [4]slog.Handler }

func (l levelled) of(level slog.Level) slog.Handler {
	switch {
	case level >= slog.LevelError:
		return l.by[3]
	case level >= slog.LevelWarn:
		return l.by[2]
	case level >= slog.LevelInfo:
		return l.by[1]
	}
	return l.by[0]
}

// Enabled implements slog.Handler.
func (l levelled) Enabled(_ context.Context, level slog.Level) bool { return level >= slog.LevelInfo }

// Handle implements slog.Handler.
func (l levelled) Handle(ctx context.Context, r slog.Record) error {
	return l.of(r.Level).Handle(ctx, r)
}

// WithAttrs implements slog.Handler.
func (l levelled) WithAttrs(a []slog.Attr) slog.Handler {
	for i := range l.by {
		l.by[i] = l.by[i].WithAttrs(a)
	}
	return l
}

// WithGroup implements slog.Handler.
func (l levelled) WithGroup(name string) slog.Handler {
	for i := range l.by {
		l.by[i] = l.by[i].WithGroup(name)
	}
	return l
}

// prefixed puts a few characters before each line; a text handler writes a record in one piece.
type prefixed struct {
	w      io.Writer
	prefix string
}

func (p prefixed) Write(b []byte) (int, error) {
	if _, err := p.w.Write(append([]byte(p.prefix), b...)); err != nil {
		return 0, err
	}
	return len(b), nil
}
