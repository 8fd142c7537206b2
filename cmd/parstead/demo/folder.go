package demo

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"parstead/light"
)

// Marker opens the trial.toml of every folder that the demo has made.
const Marker = "# Made by parstead demo: invented data, nothing in this folder was ever measured."

// WriteFolder writes the trial's folder as the grower would have kept it to the
// season's end: trial.toml and every sheet. The folder is made if need be; a
// file that exists already is an error and is left as it was.
func (w *World) WriteFolder(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make the demo's folder: %w", err)
	}
	for _, file := range []struct {
		name string
		text []byte
	}{
		{"trial.toml", w.trialFile()},
		{"plants.csv", w.plantsSheet()},
		{"layout.csv", w.layoutSheet()},
		{"survey.csv", w.surveySheet()},
		{"counts.csv", w.countsSheet()},
		{"moves.csv", w.movesSheet()},
		{"harvest.csv", w.harvestSheet()},
	} {
		if err := create(filepath.Join(dir, file.name), file.text); err != nil {
			return fmt.Errorf("write the demo's %s: %w", file.name, err)
		}
	}
	return nil
}

func create(path string, text []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Close())
}

// sheet renders rows as CSV.
func sheet(rows [][]string) []byte {
	var out bytes.Buffer
	c := csv.NewWriter(&out)
	if err := c.WriteAll(rows); err != nil {
		panic("demo: " + err.Error()) // a buffer takes everything
	}
	return out.Bytes()
}

// local writes a time by the trial's clocks.
func (w *World) local(t time.Time) string { return t.In(w.Rack.Zone).Format(time.DateTime) }

func (w *World) byCode() []*Plant {
	plants := make([]*Plant, len(w.Plants))
	for i := range w.Plants {
		plants[i] = &w.Plants[i]
	}
	slices.SortFunc(plants, func(a, b *Plant) int { return strings.Compare(a.Code, b.Code) })
	return plants
}

func (w *World) plantsSheet() []byte {
	rows := [][]string{{"plant", "species", "cultivar", "mother", "start_g"}}
	for _, p := range w.byCode() {
		start := ""
		if !p.Guard() {
			start = number(p.StartG)
		}
		rows = append(rows, []string{p.Code, p.Species, p.Cultivar, p.Mother, start})
	}
	return sheet(rows)
}

func (w *World) layoutSheet() []byte {
	rows := [][]string{{"plant", "bin", "row", "column", "light_level", "medium", "guard"}}
	for _, p := range w.Plants {
		guard := ""
		if p.Guard() {
			guard = "yes"
		}
		rows = append(rows, append(append([]string{p.Code}, cellOf(p.Dealt)...), p.LightLevel, p.Medium, guard))
	}
	return sheet(rows)
}

func cellOf(p light.Position) []string {
	return []string{p.Bin, strconv.Itoa(p.Row), strconv.Itoa(p.Column)}
}

func (w *World) surveySheet() []byte {
	rows := [][]string{{"time", "bin", "row", "column", "ppfd", "meter"}}
	for _, tour := range w.walks {
		for i, r := range tour.readings {
			at := w.local(r.At)
			if tour.endsTimed && i > 0 && i < len(tour.readings)-1 {
				at = ""
			}
			rows = append(rows, append(append([]string{at}, cellOf(r.Position)...), number(r.Value), r.Meter))
		}
	}
	return sheet(rows)
}

func (w *World) countsSheet() []byte {
	rows := [][]string{{"time", "plant", "outcome", "value"}}
	for n, day := range w.season.counts {
		at := w.clock(day, 11, 0)
		for _, p := range w.Plants {
			if p.Leaves[n] == 0 || p.Lost() && !w.date(day).Before(p.LostOn) {
				continue
			}
			rows = append(rows, []string{w.local(at), p.Code, "leaves", strconv.Itoa(p.Leaves[n])})
			at = at.Add(stepEvery)
		}
	}
	return sheet(rows)
}

func (w *World) movesSheet() []byte {
	rows := [][]string{{"time", "plant", "bin", "row", "column"}}
	for _, p := range w.Plants {
		for _, stay := range p.stays[min(1, len(p.stays)):] {
			rows = append(rows, append([]string{w.local(stay.During.From), p.Code}, cellOf(stay.Position)...))
		}
	}
	return sheet(rows)
}

func (w *World) harvestSheet() []byte {
	rows := [][]string{{
		"plant", "date", "status", "lost_on", "cause",
		"biomass_g", "biomass_g_again", "plantlets", "variegation_lost", "remarks",
	}}
	recorded := map[string]*Plant{}
	for i := range w.Plants {
		recorded[w.Plants[i].Code] = &w.Plants[i]
	}
	if a, b := w.Truth.Labels[0], w.Truth.Labels[1]; a != "" {
		recorded[a], recorded[b] = recorded[b], recorded[a]
	}
	for _, p := range w.Plants {
		if p.Guard() {
			continue
		}
		if p.Lost() {
			rows = append(rows, []string{p.Code, "", "lost", p.LostOn.String(), p.Cause, "", "", "", "", ""})
			continue
		}
		found := recorded[p.Code]
		row := []string{p.Code, p.Harvested.String(), "harvested", "", "", w.typed(found), "", "", "", ""}
		if found.AgainG > 0 {
			row[6] = number(found.AgainG)
		}
		switch p.Species {
		case Streptocarpus:
			row[7] = strconv.Itoa(found.Plantlets)
		case peperomia:
			row[8] = "no"
			if found.Reverted {
				row[8] = "yes"
			}
		}
		rows = append(rows, row)
	}
	return sheet(rows)
}

// typed is the mass as the grower typed it.
func (w *World) typed(p *Plant) string {
	g := p.BiomassG
	if p.Code == w.Truth.Typed {
		g *= 10 // the point was forgotten
	}
	return number(round(g, 0.01))
}
