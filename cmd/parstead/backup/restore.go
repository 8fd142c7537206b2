package backup

import (
	"bufio"
	"context"
	"os"
	"path/filepath"
	"time"

	"parstead/cmd/parstead/atomicfile"
	"parstead/store"
	"parstead/store/rights"
)

// Restore unpacks a backup into a folder, which must be empty or not be there, and
// tells when it was made. All of it is checked before the folder is there.
func Restore(ctx context.Context, file, folder string) (made time.Time, err error) {
	err = atomicfile.CreateFolder(folder, func(partial string) error {
		pack, err := open(file)
		if err != nil {
			return err
		}
		defer pack.Close() //nolint:errcheck // it only read
		made = pack.list.Made
		return pack.unpack(ctx, partial)
	})
	return made, err
}

func (p *pack) unpack(ctx context.Context, folder string) error {
	for _, f := range p.list.Files {
		into := filepath.Join(folder, filepath.FromSlash(f.Name))
		if err := rights.MkdirAll(filepath.Dir(into), 0o700); err != nil {
			return err
		}
		if f.Name == store.FileName {
			into += ".copied"
		}
		if err := atomicfile.Create(into, 0o600, func(w *bufio.Writer) error { return p.copy(ctx, f, w) }); err != nil {
			return err
		}
		if f.Name != store.FileName {
			continue
		}
		if err := store.Restore(ctx, into, folder); err != nil {
			return err
		}
		if err := os.Remove(into); err != nil {
			return err
		}
	}
	return nil
}
