package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"time"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/photo"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/store/rights"
)

// mostPhotos bounds those of one plant on one day.
const mostPhotos = 50

// photos keeps pictures of plants as PLANT-DATE-N.jpg, and their place in the log.
type photos struct {
	trial    func() *trial.Trial
	addEvent func(context.Context, light.Event) (uint64, error)
	now      func() time.Time

	mu sync.Mutex // one at a time: decoded, a photo takes much memory
}

// photoData is what the log keeps of a photo beside its text.
type photoData struct {
	File string `json:"file"`
}

// refusedPhoto is an error that the one who sent the photo can mend.
type refusedPhoto struct{ error }

// Refused tells that another photo, or another plant, would be taken.
func (refusedPhoto) Refused() {}

// Keep makes a photo small and free of where it was taken, and files it. The same
// photo sent twice is kept once.
func (p *photos) Keep(ctx context.Context, who, plant string, file []byte) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	t := p.trial()
	if _, known := t.Plant(plant); !known {
		return refusedPhoto{fmt.Errorf("the trial has no plant %q", plant)}
	}
	kept, err := photo.Clean(file)
	if err != nil {
		return refusedPhoto{err}
	}
	now := p.now().UTC().Truncate(time.Second)
	folder := filepath.Join(t.Dir, photo.Folder)
	if err := rights.MkdirAll(folder, 0o700); err != nil {
		return fmt.Errorf("photos can't be kept: %w", err)
	}
	name, err := p.file(folder, fileName(plant)+"-"+light.DateOf(now.In(t.Rack.Zone)).String(), kept)
	if name == "" || err != nil {
		return err
	}
	text := "photos/" + name
	if who != "" {
		text += " (" + who + ")"
	}
	event := light.Event{At: now, Written: now, Kind: light.Photographed, Plant: plant, Text: text}
	if event.Data, err = json.Marshal(photoData{name}); err == nil {
		_, err = p.addEvent(ctx, event)
	}
	if err != nil { // the log before the folder: what it does not tell of is not there
		return errors.Join(fmt.Errorf("the log can't be written: %w", err), os.Remove(filepath.Join(folder, name)))
	}
	return nil
}

// file writes the photo under the first number that is free; "" where it is there
// already.
func (p *photos) file(folder, begins string, kept []byte) (name string, err error) {
	for n := 1; n <= mostPhotos; n++ {
		name := fmt.Sprintf("%s-%d.jpg", begins, n)
		before, err := os.ReadFile(filepath.Join(folder, name))
		switch {
		case bytes.Equal(before, kept):
			return "", nil
		case err == nil:
			continue
		case !errors.Is(err, fs.ErrNotExist):
			return "", fmt.Errorf("photos can't be kept: %w", err)
		}
		if err := atomicfile.Replace(filepath.Join(folder, name), kept, nil, nil); err != nil {
			return "", fmt.Errorf("the photo can't be kept: %w", err)
		}
		return name, nil
	}
	return "", refusedPhoto{fmt.Errorf("%d photos of one plant are the most of a day", mostPhotos)}
}

// fileName is a plant's code as names of files have it.
func fileName(code string) string {
	return strings.Map(func(r rune) rune {
		if r == '-' || r == '_' || r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' {
			return r
		}
		return '-'
	}, code)
}

var photoName = regexp.MustCompile(`^[-_0-9A-Za-z]+-\d{4}-\d\d-\d\d-\d{1,2}\.jpg$`)

// Read gives a photo by its name in the folder; nil where there is none.
func (p *photos) Read(name string) ([]byte, error) {
	if !photoName.MatchString(name) {
		return nil, nil
	}
	folder, err := os.OpenRoot(filepath.Join(p.trial().Dir, photo.Folder)) // no link leads out of it
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer folder.Close() //nolint:errcheck // it only read
	f, err := folder.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // it only read
	return io.ReadAll(io.LimitReader(f, photo.LargestKept))
}
