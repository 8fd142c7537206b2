// Package backup copies a trial into one file, and brings it back.
package backup

import (
	"archive/zip"
	"bufio"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/pelletier/go-toml/v2"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/photo"
	"parstead/cmd/parstead/version"
	"parstead/store"
)

// contentsFile names the entry that lists the others.
const contentsFile = "contents.json"

// format is the version of a backup's layout.
const format = 1

// contents lists what a backup holds.
type contents struct {
	Format int        `json:"format"`
	Made   time.Time  `json:"made"`
	By     string     `json:"by"`
	Files  []packFile `json:"files"`
}

// packFile is a file in a backup.
type packFile struct {
	Name   string `json:"name"` // in the trial's folder, with / between parts
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Write makes a backup that is whole from the moment it has its name, and tells
// whether readings are in it. On an error nothing stays behind.
func Write(ctx context.Context, folder, file string, now time.Time) (readings bool, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("backup: %w", err)
		}
	}()
	if _, err := os.Lstat(file); err == nil {
		return false, fmt.Errorf("%s exists already: choose another name", file)
	}
	names, err := sheetsOf(folder)
	if err != nil {
		return false, err
	}
	into := filepath.Dir(file)
	work, err := os.MkdirTemp(into, ".parstead-backup-*")
	if errors.Is(err, fs.ErrNotExist) {
		return false, fmt.Errorf("the folder %s is not there: make it, or see that its stick or disk is in place", into)
	}
	if err != nil {
		return false, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	partial := filepath.Join(work, "partial.zip")
	list := contents{Format: format, Made: now.UTC(), By: version.Words()}
	var cause error
	err = atomicfile.Create(partial, 0o600, func(w *bufio.Writer) error {
		cause = list.pack(ctx, w, folder, names, work, now)
		return cause
	})
	switch err := cmp.Or(cause, err); {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT), errors.Is(err, syscall.EFBIG):
		return false, fmt.Errorf("%s takes no more: make room there, or name another disk (%w)", into, err)
	case err != nil:
		return false, err
	}
	if err := readBack(ctx, partial); err != nil {
		return false, err
	}
	if _, err := os.Lstat(file); err == nil {
		return false, fmt.Errorf("%s exists already: choose another name", file)
	}
	readings = slices.ContainsFunc(list.Files, func(f packFile) bool { return f.Name == store.FileName })
	return readings, atomicfile.Rename(partial, file)
}

// pack writes the whole backup.
func (l *contents) pack(ctx context.Context, w io.Writer, folder string, names []string, work string, now time.Time) error {
	pack := zip.NewWriter(w)
	for _, name := range names {
		if err := l.add(ctx, pack, filepath.Join(folder, filepath.FromSlash(name)), name, now); err != nil {
			return err
		}
	}
	if err := l.addReadings(ctx, pack, folder, work, now); err != nil {
		return err
	}
	entry, err := pack.CreateHeader(&zip.FileHeader{Name: contentsFile, Method: zip.Deflate, Modified: now})
	if err != nil {
		return err
	}
	out := json.NewEncoder(entry)
	out.SetIndent("", "  ")
	if err := out.Encode(l); err != nil {
		return err
	}
	return pack.Close()
}

// sheetsOf names the trial's own files other than the readings.
func sheetsOf(folder string) ([]string, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		ending := strings.ToLower(filepath.Ext(e.Name()))
		if e.Type().IsRegular() && (e.Name() == "trial.toml" || ending == ".csv" || ending == ".xlsx") {
			names = append(names, e.Name())
		}
	}
	if !slices.Contains(names, "trial.toml") {
		return nil, fmt.Errorf("%s holds no trial.toml: name a trial's folder", folder)
	}
	text, err := os.ReadFile(filepath.Join(folder, "trial.toml"))
	if err != nil {
		return nil, err
	}
	photos, err := filepath.Glob(filepath.Join(folder, photo.Folder, "*.jpg"))
	if err != nil {
		return nil, err
	}
	for _, p := range photos {
		if info, err := os.Lstat(p); err == nil && info.Mode().IsRegular() {
			names = append(names, photo.Folder+"/"+filepath.Base(p))
		}
	}
	var lamps struct{ Lamp []struct{ Spectrum string } }
	if err := toml.Unmarshal(text, &lamps); err != nil {
		return names, nil //nolint:nilerr // a trial whose file has a mistake is worth a backup too
	}
	for _, l := range lamps.Lamp {
		name := filepath.ToSlash(filepath.Clean(l.Spectrum))
		info, err := os.Stat(filepath.Join(folder, filepath.FromSlash(name)))
		if l.Spectrum != "" && filepath.IsLocal(name) && err == nil && info.Mode().IsRegular() && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names, nil
}

// addReadings adds a copy of the database, where there is one: that which the
// daemon holds, should the one in the folder be gone.
func (l *contents) addReadings(ctx context.Context, pack *zip.Writer, folder, work string, now time.Time) error {
	snapshot := filepath.Join(work, store.FileName)
	err := store.Backup(ctx, folder, snapshot)
	if errors.Is(err, store.ErrNone) {
		return nil
	}
	if err != nil {
		return err
	}
	return l.add(ctx, pack, snapshot, store.FileName, now)
}

// add copies a file into the pack.
func (l *contents) add(ctx context.Context, pack *zip.Writer, path, name string, now time.Time) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close() //nolint:errcheck // it only read
	entry, err := pack.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: now})
	if err != nil {
		return err
	}
	sum := sha256.New()
	n, err := io.Copy(store.StopWith(ctx, io.MultiWriter(entry, sum)), f)
	if err != nil {
		return fmt.Errorf("copy %s: %w", name, err)
	}
	l.Files = append(l.Files, packFile{name, n, hex.EncodeToString(sum.Sum(nil))})
	return nil
}

// readBack reads a whole backup and compares it with its list.
func readBack(ctx context.Context, file string) error {
	pack, err := open(file)
	if err != nil {
		return err
	}
	for _, f := range pack.list.Files {
		if err := pack.copy(ctx, f, io.Discard); err != nil {
			return errors.Join(err, pack.Close())
		}
	}
	return pack.Close()
}

// pack is an open backup.
type pack struct {
	*zip.ReadCloser
	file string
	list contents
}

// mostListed bounds the list of a backup, in bytes.
const mostListed = 1 << 20

// open opens a backup and reads its list.
func open(file string) (p *pack, err error) {
	z, err := zip.OpenReader(file)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
		return nil, fmt.Errorf("%s is no whole backup of parstead: take another (%w)", file, err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("%s is no backup of parstead: take another (%w)", file, err), z.Close())
		}
	}()
	p = &pack{ReadCloser: z, file: file}
	entry, err := z.Open(contentsFile)
	if err != nil {
		return nil, err
	}
	defer entry.Close() //nolint:errcheck // it only read
	if err := json.NewDecoder(io.LimitReader(entry, mostListed)).Decode(&p.list); err != nil {
		return nil, err
	}
	if p.list.Format != format {
		return nil, fmt.Errorf("its format is %d, this program reads %d", p.list.Format, format)
	}
	for _, f := range p.list.Files {
		if !filepath.IsLocal(filepath.FromSlash(f.Name)) {
			return nil, fmt.Errorf("it holds %q, which lies outside a trial's folder", f.Name)
		}
	}
	return p, nil
}

// copy copies one file out of the pack and holds it against the list.
func (p *pack) copy(ctx context.Context, f packFile, to io.Writer) error {
	damaged := func(cause error) error {
		return fmt.Errorf("%s is damaged: %s in it can't be read back; take another backup (%w)", p.file, f.Name, cause)
	}
	entry, err := p.Open(f.Name)
	if err != nil {
		return damaged(err)
	}
	defer entry.Close() //nolint:errcheck // it only read
	sum := sha256.New()
	n, err := io.Copy(store.StopWith(ctx, io.MultiWriter(to, sum)), io.LimitReader(entry, f.Bytes+1))
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil && !errors.Is(err, zip.ErrChecksum) && !errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("copy %s: %w", f.Name, err)
	case err != nil:
		return damaged(err)
	case n != f.Bytes || hex.EncodeToString(sum.Sum(nil)) != f.SHA256:
		return damaged(errors.New("its checksum is another"))
	}
	return nil
}
