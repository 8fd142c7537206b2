package broker

import (
	"context"
	"log/slog"
)

// calm passes the library's log on: what it calls information is for debugging
// here, and the packets that it prints in full are left out.
type calm struct{ next slog.Handler }

func (c calm) level(l slog.Level) slog.Level {
	if l == slog.LevelInfo {
		return slog.LevelDebug
	}
	return l
}

func (c calm) Enabled(ctx context.Context, l slog.Level) bool {
	return c.next.Enabled(ctx, c.level(l))
}

func (c calm) Handle(ctx context.Context, r slog.Record) error {
	out := slog.NewRecord(r.Time, c.level(r.Level), r.Message, r.PC)
	r.Attrs(func(a slog.Attr) bool {
		if a.Key != "pk" && a.Key != "packet" && a.Key != "will" {
			out.AddAttrs(a)
		}
		return true
	})
	return c.next.Handle(ctx, out)
}

func (c calm) WithAttrs(attrs []slog.Attr) slog.Handler { return calm{c.next.WithAttrs(attrs)} }
func (c calm) WithGroup(name string) slog.Handler       { return calm{c.next.WithGroup(name)} }
