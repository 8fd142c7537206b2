package harvest

import (
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"time"

	"parstead/cmd/parstead/photo"
	"parstead/correlate/report"
	"parstead/light"
)

// photosOf gives the photos that the log tells of, small. One that is gone, or is none,
// is left out: the log still tells of it.
func photosOf(dir string, log []light.Event, zone *time.Location) func(plant string) []report.Photo {
	return func(plant string) (list []report.Photo) {
		folder, err := os.OpenRoot(filepath.Join(dir, photo.Folder)) // no link leads out of it
		if err != nil {
			return nil // there are none
		}
		defer folder.Close() //nolint:errcheck // it only read
		for _, e := range log {
			var data struct{ File string }
			if e.Kind != light.Photographed || e.Plant != plant || json.Unmarshal(e.Data, &data) != nil {
				continue
			}
			f, err := folder.Open(data.File)
			if err != nil {
				continue
			}
			kept, err := io.ReadAll(io.LimitReader(f, photo.LargestKept))
			_ = f.Close()
			if err != nil {
				continue
			}
			if small, err := photo.Small(kept); err == nil {
				list = append(list, report.Photo{On: light.DateOf(e.At.In(zone)), JPEG: small})
			}
		}
		return list
	}
}
