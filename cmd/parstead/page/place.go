package page

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"parstead/light"
	"parstead/light/account"
)

// Counted is a measurement during the season; Value is "" while it is kept back.
type Counted struct {
	At             time.Time
	Outcome, Value string
}

// Found is what was found of a plant at the harvest.
type Found struct {
	Outcome, Unit, Value string
	Start                string // what it began with; "" where that was not measured
	Among                string // how it stands among its kind
}

// Photo is a picture of a plant.
type Photo struct {
	File string // its name among the trial's photos
	At   time.Time
}

// History is what is known of a plant. What is in it was chosen by the daemon:
// before nothing of the plant is left to be scored, neither treatment nor value.
type History struct {
	*State
	Code, Kind string
	Open       bool // nothing of it is left to be scored
	Guard      bool
	Place      light.Position
	Stays      []light.Stay

	Fate, Cause, On string
	Levels          []Level
	Counts          []Counted
	Found           []Found
	Photos          []Photo
	Log             []light.Event
}

func placePath(p light.Position) string {
	return fmt.Sprintf("/place/%s/%d/%d", url.PathEscape(p.Bin), p.Row, p.Column)
}

func plantPath(code string) string { return "/plant/" + url.PathEscape(code) }

// placeView is what the page of a position shows.
type placeView struct {
	*State
	Bin   Bin
	At    light.Position
	Cell  Cell
	Grid  grid
	Chart template.HTML

	Number, Range string
	Rows          []pair
	Events        []happened
}

// pair is a line of what is known.
type pair struct{ Name, Value string }

// sources says in words how a figure came to be.
var sources = map[account.Source]string{
	account.FromSensor: "measured by a sensor here",
	account.FromMap:    "the light map, times the bin's sensors",
	account.FromBin:    "the bin's sensors as they stand: there is no light map",
	account.FromTimer:  "the meter's walk, over the timer's hours",
}

// sourceWords is how a figure came to be, by its source's name.
func sourceWords(name string) string {
	for source, words := range sources {
		if source.String() == name {
			return words
		}
	}
	return "not known"
}

// newPlaceView is the page of a position; false where there is none.
func newPlaceView(s *State, bin string, row, column int) (*placeView, bool) {
	i := slices.IndexFunc(s.Bins, func(b Bin) bool { return b.Name == bin })
	at := light.Position{Bin: bin, Row: row, Column: column}
	if i < 0 || !s.Bins[i].Contains(at) {
		return nil, false
	}
	b := s.Bins[i]
	v := &placeView{State: s, Bin: b, At: at, Cell: b.Cells[b.Index(at)]}
	v.Grid = newGrid(s, b, binLines(s)[i], s.brightest(b))
	when := "yesterday"
	v.Number, v.Range = "–", "Yesterday is not known here."
	if s.Over() {
		when, v.Range = "a day, the mean of the season", "What it got is not known."
	}
	if f := s.figures(b)[b.Index(at)]; f.Known {
		off := math.Exp(1.96 * f.Error)
		v.Number = fmt.Sprintf("%.2f", float64(f.DLI))
		v.Range = fmt.Sprintf("mol m⁻² %s, between %.2f and %.2f", when, float64(f.DLI)/off, float64(f.DLI)*off)
	}
	v.Rows = placeRows(v)
	if b.Season != nil {
		v.Chart, v.Events = b.Season.PlaceChart(b.Index(at), "Light of "+at.String()), b.Season.Happenings()
	}
	return v, true
}

func placeRows(v *placeView) (rows []pair) {
	add := func(name, format string, args ...any) { rows = append(rows, pair{name, fmt.Sprintf(format, args...)}) }
	over := v.Over()
	if v.Cell.Today.Known && !over {
		add("so far today", "%.2f", float64(v.Cell.Today.DLI))
	}
	var days []PlaceDay
	if v.Bin.Season != nil {
		days = v.Bin.Season.Place(v.Bin.Index(v.At))
	}
	if sum, n := sumOf(days); n > 0 {
		if over {
			add("in all", "%.0f mol m⁻², %s to %s", sum, shortDate(v.Starts), shortDate(v.Ends))
		} else {
			add("since "+shortDate(v.Starts), "%.2f a day, %.0f in all", sum/float64(n), sum)
		}
	}
	figures := v.figures(v.Bin)
	if x := spreadOf(figures); x.known {
		text, meant := fmt.Sprintf("%.2f yesterday", x.mean), "is"
		if over {
			text, meant = fmt.Sprintf("%.2f a day", x.mean), "was"
		}
		if v.Bin.TargetDLI > 0 {
			text += fmt.Sprintf("; %.2f %s meant", float64(v.Bin.TargetDLI), meant)
		}
		add("the bin's mean", "%s", text)
	}
	switch f := v.shown(v.Bin, figures, v.Bin.Index(v.At)); {
	case !f.Known:
	case over:
		add("how known", "%s", sourceWords(f.Source))
		add("error", "%.1f %% on a usual day", 100*f.Error)
	default:
		add("how known", "%s", sourceWords(f.Source))
		add("error", "%.1f %%, of it %.1f %% shared by the whole bin", 100*f.Error, 100*f.Shared)
	}
	if words := seasonWords(days); words != "" {
		add("its season", "%s", words)
	}
	return rows
}

func sumOf(days []PlaceDay) (sum float64, n int) {
	for _, d := range days {
		if d.Known {
			sum, n = sum+float64(d.DLI), n+1
		}
	}
	return sum, n
}

// seasonWords says how the days of a place came to be known.
func seasonWords(days []PlaceDay) string {
	var by [len(sourceOrder) + 1]int
	unknown, estimated := 0, 0
	for _, d := range days {
		switch {
		case !d.Known:
			unknown++
			continue
		case d.Filled > mostlyFilled:
			estimated++
		}
		by[d.Source]++
	}
	var parts []string
	for _, source := range sourceOrder {
		if n := by[source]; n > 0 {
			parts = append(parts, count(n, "day")+" by "+sourceShort[source])
		}
	}
	if estimated > 0 {
		parts = append(parts, fmt.Sprintf("%d of these mostly estimated", estimated))
	}
	if unknown > 0 {
		parts = append(parts, count(unknown, "day")+" not known")
	}
	return strings.Join(parts, ", ")
}

var sourceOrder = [...]account.Source{account.FromSensor, account.FromMap, account.FromBin, account.FromTimer}

var sourceShort = map[account.Source]string{
	account.FromSensor: "its own sensor", account.FromMap: "light map", account.FromBin: "the bin's sensors alone", account.FromTimer: "the timer's hours",
}

// plantView is what the page of a plant shows.
type plantView struct {
	*History
	Chart template.HTML
	Mean  string
	Since string
	Moves []pair
}

func newPlantView(h *History) *plantView {
	v := &plantView{History: h}
	season := func(bin string) *Season {
		for _, b := range h.Bins {
			if b.Name == bin {
				return b.Season
			}
		}
		return nil
	}
	for i, s := range h.Stays {
		if i > 0 {
			v.Moves = append(v.Moves, pair{dayAndHour(s.During.From.In(h.Calendar.Zone)), "moved to " + s.Position.String() + " from " + h.Stays[i-1].Position.String()})
		}
	}
	first := season(h.Place.Bin)
	if first == nil {
		return v
	}
	c := &chart{starts: h.Starts, ends: h.Ends}
	var held []PlaceDay
	for d := range min(h.Starts.DaysUntil(h.Day), h.Starts.DaysUntil(h.Ends)+1) {
		day, moved := dayOfPlant(h, d, season)
		held = append(held, day)
		c.add(d, day.point())
		if moved {
			c.moves = append(c.moves, d)
		}
	}
	if sum, n := sumOf(held); n > 0 {
		v.Mean, v.Since = fmt.Sprintf("%.2f", sum/float64(n)), shortDate(h.Starts)
		v.Chart = c.svg("Light of plant " + h.Code)
	}
	return v
}

// dayOfPlant is the light of the place where the plant stood at the middle of the
// day, and whether it was another one the day before. A day on which it stood
// nowhere is not known.
func dayOfPlant(h *History, d int, season func(string) *Season) (day PlaceDay, moved bool) {
	span := h.Calendar.Day(h.Starts.Add(d))
	noon := span.From.Add(span.Length() / 2)
	for i, s := range h.Stays {
		if !s.During.Holds(noon) {
			continue
		}
		moved = i > 0 && !s.During.Holds(noon.AddDate(0, 0, -1))
		if x := season(s.Position.Bin); x != nil {
			if days := x.Place(x.Bin.Index(s.Position)); d < len(days) {
				day = days[d]
			}
		}
	}
	return day, moved
}

func (s *Server) showPlace(w http.ResponseWriter, r *http.Request) {
	state, ok := s.state(w, r)
	if !ok {
		return
	}
	row, err := strconv.Atoi(r.PathValue("row"))
	column, err2 := strconv.Atoi(r.PathValue("column"))
	v, known := newPlaceView(state, r.PathValue("bin"), row, column)
	if err != nil || err2 != nil || !known {
		say(w, http.StatusNotFound, "There is no such place: go back to all bins.")
		return
	}
	s.answer(w, "place", func(nonce string) any {
		return struct {
			*placeView
			Nonce string
		}{v, nonce}
	})
}

func (s *Server) showPlant(w http.ResponseWriter, r *http.Request) {
	h, err := s.plantOf(r.Context(), r.PathValue("code"))
	switch {
	case err != nil:
		s.config.Log.Error("plant not shown", "error", err)
		say(w, http.StatusInternalServerError, "The plant can't be shown now: "+err.Error())
		return
	case h == nil:
		say(w, http.StatusNotFound, "There is no such plant: go back to all bins.")
		return
	}
	v := newPlantView(h)
	s.answer(w, "plant", func(nonce string) any {
		return struct {
			*plantView
			Nonce string
		}{v, nonce}
	})
}

func (s *Server) plantOf(ctx context.Context, code string) (*History, error) {
	if s.config.Plant == nil {
		return nil, nil //nolint:nilnil // no plants: no history, no fault
	}
	return s.config.Plant(ctx, code)
}
