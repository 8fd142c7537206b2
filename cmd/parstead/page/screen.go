package page

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// screen is what the screens of entry show. Each is a page of its own, so that
// they work without a script; with it, the phone makes the same ones itself.
type screen struct {
	Name  string // of its template
	Says  string // what became of the last entry, or what is wrong
	Wrong bool
	Who   string
	Then  string // where to go once the code is given

	*Offer
	ID      string // of the entry that the screen makes
	Entry   Entry  // as far as it is known
	Plant   Plant
	Which   []Plant // those that may be meant
	Outcome Outcome
	Other   Plant // who stands where the plant is to go
	Bin     Grid
	Lines   [][]place
	Next    string // code of the next plant
}

// place is a position of a bin's grid.
type place struct {
	Row, Column int
	Plants      []Plant
}

// Standing is the plant that stands at the position; none has no code.
func (p place) Standing() Plant {
	for _, x := range p.Plants {
		if !x.Gone() {
			return x
		}
	}
	return Plant{}
}

// screens are those that can be asked for by name.
var screens = []string{"home", "bin", "plant", "value", "lost", "move", "note", "photo"}

func (s *Server) showScreen(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("screen")
	then := localPath(r.URL.RequestURI())
	who, status, says := s.who(r)
	switch {
	case says == noCode:
		s.answerScreen(w, r, status, &screen{Name: "off", Says: says})
		return
	case name == "code":
		s.answerScreen(w, r, http.StatusOK, &screen{Name: "code", Who: who, Then: "/enter"})
		return
	case status != 0:
		s.answerScreen(w, r, status, &screen{Name: "code", Then: then})
		return
	}
	v := s.newScreen(r, name, r.URL.Query())
	if id := r.URL.Query().Get("stored"); id != "" && v.Says == "" {
		if a, ok := s.config.Entries.Stored(id); ok {
			v.Says = strings.Join(append([]string{"Stored: " + a.Says}, a.Remarks...), " ")
		}
	}
	status = http.StatusOK
	if v.Wrong {
		status = http.StatusNotFound
	}
	s.answerScreen(w, r, status, v)
}

// newScreen is the screen of that name for what the query names. Where that is
// not there, it is the first screen, which says so.
func (s *Server) newScreen(r *http.Request, name string, q url.Values) *screen {
	v := &screen{Name: name, ID: newID()}
	v.Who, _, _ = s.who(r)
	var err error
	if v.Offer, err = s.config.Entries.Offer(r.Context()); err != nil {
		v.Offer, v.Name, v.Says, v.Wrong = &Offer{}, "home", err.Error(), true
		return v
	}
	for part, into := range v.Entry.parts() {
		text := q.Get(part)
		*into = text[:min(len(text), longestText)]
	}
	if !slices.Contains(screens, v.Name) {
		v.Name = "home"
	}
	if says := v.fill(); says != "" {
		v.Name, v.Says, v.Wrong = "home", says, true
	}
	return v
}

// fill looks up what the entry names; says is what is not there.
func (v *screen) fill() (says string) {
	e := &v.Entry
	if e.Plant != "" || slices.Contains([]string{"plant", "value", "lost", "move", "photo"}, v.Name) {
		found := v.Matching(e.Plant)
		switch {
		case len(found) == 0:
			return "There is no plant " + e.Plant + ": give its whole code, or find it by its bin."
		case len(found) > 1:
			v.Name, v.Which = "which", found
			return ""
		}
		v.Plant = found[0]
		e.Plant = v.Plant.Code
	}
	if e.Bin != "" || v.Name == "bin" {
		i := slices.IndexFunc(v.Bins, func(g Grid) bool { return g.Name == e.Bin })
		if i < 0 {
			return "There is no bin " + e.Bin + "."
		}
		v.Bin = v.Bins[i]
		v.lines()
	}
	switch v.Name {
	case "value":
		var ok bool
		if v.Outcome, ok = v.Offer.Outcome(e.Outcome); !ok || !slices.Contains([]string{Count, Harvest, Again}, e.What) {
			return "There is no outcome " + e.Outcome + "."
		}
		v.Next = v.next()
		if e.Day == "" {
			e.Day = v.Plant.Date
		}
	case "move":
		for _, line := range v.Lines {
			for _, p := range line {
				if other := p.Standing(); strconv.Itoa(p.Row) == e.Row && strconv.Itoa(p.Column) == e.Column && other.Code != e.Plant {
					v.Other = other
				}
			}
		}
	}
	if e.Day == "" {
		e.Day = v.Today
	}
	return ""
}

// Gross tells whether the screen asks for the weight with the dish and for the
// dish alone.
func (v *screen) Gross() bool { return v.Outcome.Gross && v.Entry.What == Harvest }

// Doing says what the screen's value is for, so that a count of the season and the
// harvest are not taken for one another.
func (v *screen) Doing() string { return doing[v.Entry.What] }

var doing = map[string]string{
	Count:   "counted or measured today, one more line in the sheet of counts",
	Harvest: "found at the harvest, for good",
	Again:   "weighed a second time at the harvest",
}

// lines are the positions of the screen's bin.
func (v *screen) lines() {
	at := map[[2]int][]Plant{}
	for _, p := range v.Plants {
		if p.Bin == v.Bin.Name {
			at[[2]int{p.Row, p.Column}] = append(at[[2]int{p.Row, p.Column}], p)
		}
	}
	v.Lines = nil
	for r := 1; r <= v.Bin.Rows; r++ {
		var line []place
		for c := 1; c <= v.Bin.Columns; c++ {
			line = append(line, place{r, c, at[[2]int{r, c}]})
		}
		v.Lines = append(v.Lines, line)
	}
}

// next is the plant after this one that the same is asked of; "" after the last.
func (v *screen) next() string {
	i := slices.IndexFunc(v.Plants, func(p Plant) bool { return p.Code == v.Plant.Code })
	for _, p := range v.Plants[i+1:] {
		_, known := p.Values[v.Outcome.Name]
		if !p.Gone() && slices.Contains(p.Outcomes, v.Outcome.Name) && (v.Entry.What == Count || known == (v.Entry.What == Again)) {
			return p.Code
		}
	}
	return ""
}

// screen is the path of the screen that makes such an entry, with its parts.
func (e *Entry) screen() string {
	name := map[string]string{Count: "value", Harvest: "value", Again: "value", Lost: "lost", Alive: "plant", Move: "move", Note: "note"}[e.What]
	q := url.Values{}
	for part, text := range e.parts() {
		if *text != "" && part != "id" {
			q.Set(part, *text)
		}
	}
	return "/enter/" + name + "?" + q.Encode()
}

// next is the path of the screen that follows once the entry is stored: the same
// for another plant, if one is named.
func (e *Entry) next(plant, stored string) string {
	q := url.Values{"stored": {stored}}
	switch {
	case plant != "" && e.Outcome != "":
		q.Set("plant", plant)
		q.Set("what", e.What)
		q.Set("outcome", e.Outcome)
		q.Set("day", e.Day)
		if e.Tare != "" {
			q.Set("tare", e.Tare) // the next one may lie in a dish of the same weight
		}
		return "/enter/value?" + q.Encode()
	case e.Plant != "":
		q.Set("plant", e.Plant)
		return "/enter/plant?" + q.Encode()
	default:
		return "/enter?" + q.Encode()
	}
}

func (s *Server) answerScreen(w http.ResponseWriter, _ *http.Request, status int, v *screen) {
	if v.Offer == nil {
		v.Offer = &Offer{}
	}
	var b strings.Builder
	if err := s.enter.ExecuteTemplate(&b, "screen", v); err != nil {
		s.config.Log.Error("screen not shown", "error", err)
		say(w, http.StatusInternalServerError, "The screen can't be shown now; the daemon's log says why.")
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", enterPolicy)
	w.WriteHeader(status)
	_, _ = w.Write([]byte(strings.ToValidUTF8(b.String(), "�"))) // the reader has gone: nobody to tell
}
