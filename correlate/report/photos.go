package report

import (
	"encoding/base64"
	"fmt"
	"html/template"

	"parstead/correlate"
)

// mostPhotos is how many photos stand beside one kind of rare event.
const mostPhotos = 12

// rare is the share of plants up to which an event is rare.
const rare = 0.25

// shot is a photo on the page.
type shot struct {
	Src  template.URL
	Says string
}

// photosOf are photos of the plants to which something happened, which is told of each.
func (r *Report) photosOf(happened func(row int) string) []shot {
	var list []shot
	if r.Photos == nil {
		return nil
	}
	for row, plant := range r.Input.Plants {
		what := happened(row)
		if what == "" {
			continue
		}
		for _, p := range r.Photos(plant) {
			if len(list) == mostPhotos {
				return list
			}
			// Encoded here, and nothing else than a picture's bytes.
			src := template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(p.JPEG)) //nolint:gosec // see above
			list = append(list, shot{src, fmt.Sprintf("%s, %s; photo of %s", plant, what, p.On)})
		}
	}
	return list
}

// photosOfLost are photos of plants that were lost.
func (r *Report) photosOfLost() []shot {
	in := r.Input
	return r.photosOf(func(row int) string {
		if in.Status == nil || in.Status[row] != correlate.Lost {
			return ""
		}
		if in.Cause != nil && in.Cause[row] != "" {
			return "lost: " + in.Cause[row]
		}
		return "lost"
	})
}

// photosOfRare are photos of plants with the rarer answer to a question of yes or no.
func (r *Report) photosOfRare(o *outcome) []shot {
	if !o.answers() {
		return nil
	}
	yes := 0
	for _, p := range o.used {
		if p.Value == 1 {
			yes++
		}
	}
	few := 1.0
	if yes > len(o.used)/2 {
		few, yes = 0, len(o.used)-yes
	}
	if float64(yes) > rare*float64(len(o.used)) {
		return nil
	}
	return r.photosOf(func(row int) string {
		if p, used := o.used[row]; used && p.Value == few {
			return o.value(row)
		}
		return ""
	})
}
