package daemon

import (
	"context"
	"time"
)

// filesPatience is how long an end waits for files that are being read or written.
const filesPatience = 10 * time.Second

// keepFiles looks after the trial's files: those that have changed are taken into
// use, and what was entered is put into them. That reads from a disk that may hang
// or from a file that takes long, so nothing else waits for it, and the end not for
// ever.
func (d *Daemon) keepFiles(ctx context.Context) error {
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(d.options.tick)
		defer tick.Stop()
		for ctx.Err() == nil {
			d.filing.keep(ctx, filesLooked*d.options.tick)
			if d.adoption.look(filesLooked * d.options.tick) {
				d.filing.look()
				nudge(d.filesChanged)
			}
			select {
			case <-ctx.Done():
			case <-tick.C:
			}
		}
	}()
	<-ctx.Done()
	select {
	case <-ended:
	case <-time.After(filesPatience):
		d.options.Log.Error("the trial's files are still being read: not waited for")
	}
	return nil
}
