package report

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"parstead/correlate"
	"parstead/light"
	"parstead/light/account"
	"parstead/light/climate"
)

// Report is a harvest correlation with what is known of the trial behind it.
// Input and Result are required; without a rack there are no maps, without days
// no light map and no season.
type Report struct {
	Trial   string    // its name
	Remark  string    // stands on top of the page: "invented data"; "" for none
	Version string    // of the program
	Written time.Time // when the page was made

	Input  *correlate.Input
	Result *correlate.Result

	Rack light.Rack
	Days []account.Day // of every position whose light is known, as account.Days gives them
	Air  []climate.Day
	// Unused says in whole sentences what of readings and surveys the light account
	// does not use, and what is wanting, as account.Season gives it.
	Unused []string
	Log    []light.Event // the whole log; withdrawn entries are left out here

	// FactorsFrom says of each of Rack.Lamps how its lux per PPFD was given; nil where
	// that is not known.
	FactorsFrom []string

	// Photos gives the photos of a plant, each small; nil where there are none.
	Photos func(plant string) []Photo
}

// Photo is a picture of a plant as JPEG, and when it was taken.
type Photo struct {
	On   light.Date
	JPEG []byte
}

// Write makes a folder with index.html, which holds every picture, and beside it
// each picture as SVG, PNG of 1920 × 1080 and CSV of what it shows. Files of the
// same names are replaced; others are left alone.
//
// Errors: a folder or file that cannot be written.
func Write(dir string, r Report) error {
	r.Days = over(r.Days, r.Rack, r.Written)
	list := r.pictures()
	var page bytes.Buffer
	if err := writeAll(dir, list, func() error { return r.page(&page, list) }); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(dir, "index.html"), page.Bytes(), 0o666); err != nil { //nolint:gosec // a report is for anyone to read
		return fmt.Errorf("write the report's page: %w", err)
	}
	return nil
}

// over are the days that had ended: a running one would look like a dark one.
func over(days []account.Day, rack light.Rack, now time.Time) []account.Day {
	if rack.Zone == nil {
		return days
	}
	today := rack.DateAt(now)
	return slices.DeleteFunc(slices.Clone(days), func(d account.Day) bool { return !d.Date.Before(today) })
}

// pictures are all that can be drawn, in the order of the page.
func (r *Report) pictures() []picture {
	names := fileNames{}
	list := append(r.behind(names), r.lightMaps(names)...)
	list = append(list, r.seasons(names)...)
	for i := range r.Result.Outcomes {
		o := r.outcome(i)
		list = append(list, r.groups(names, o)...)
		list = append(list, r.pairs(names, o)...)
		list = append(list, r.lights(names, o)...)
		list = append(list, r.plantMaps(names, o)...)
		list = append(list, r.residuals(names, o)...)
	}
	return append(list, r.outcomes(names)...)
}
