package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"parstead/correlate"
	"parstead/light"
	"parstead/light/account"
)

// Whatever a trial lacks or holds, a page and its pictures come of it.
func TestOddTrials(t *testing.T) {
	t.Parallel()
	for name, change := range oddTrials {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := trial(t)
			change(&r)
			r = analysed(t, r)
			pictures := r.pictures()
			tidy(t, pictures)
			var page strings.Builder
			if err := r.page(&page, pictures); err != nil {
				t.Fatal(err)
			}
			text := wellFormed(t, "index.html", []byte(page.String()))
			for _, not := range []string{"NaN", "Inf", "%!", "<nil>"} {
				if strings.Contains(text, not) {
					i := strings.Index(text, not)
					t.Errorf("the page says %q: %q", not, text[max(0, i-60):min(len(text), i+30)])
				}
			}
		})
	}
}

func fill(values []float64, v float64) {
	for i := range values {
		values[i] = v
	}
}

var oddTrials = map[string]func(*Report){
	"no light": func(r *Report) { r.Input.Light, r.Days = nil, nil },
	"no light known": func(r *Report) {
		fill(r.Input.Light.Values, math.NaN())
		for i := range r.Days {
			r.Days[i].Figure = account.Figure{}
		}
	},
	"no rack":       func(r *Report) { r.Rack, r.Days, r.Air, r.Log = light.Rack{}, nil, nil, nil },
	"no bins":       func(r *Report) { r.Input.Bin, r.Input.Row, r.Input.Column = nil, nil, nil },
	"no treatments": func(r *Report) { r.Input.Treatments = nil },
	"no outcome":    func(r *Report) { r.Input.Outcomes = nil },
	"all missing": func(r *Report) {
		for _, o := range r.Input.Outcomes {
			fill(o.Values, math.NaN())
		}
	},
	"all lost": func(r *Report) {
		for i := range r.Input.Status {
			r.Input.Status[i], r.Input.Cause[i] = correlate.Lost, "dried"
		}
		for _, o := range r.Input.Outcomes {
			fill(o.Values, math.NaN())
		}
	},
	"all alike": func(r *Report) {
		for _, o := range r.Input.Outcomes {
			fill(o.Values, 1)
		}
	},
	"none of them": func(r *Report) { fill(r.Input.Outcomes[3].Values, 0); fill(r.Input.Outcomes[2].Values, 0) },
	"one plant": func(r *Report) {
		for i := range r.Input.Plants[1:] {
			for _, o := range r.Input.Outcomes {
				o.Values[i+1] = math.NaN()
			}
		}
		r.Input.Guard[0] = false
	},
	"one bin": func(r *Report) {
		r.Input.Bin.Levels = r.Input.Bin.Levels[:1]
		fill(r.Input.Light.Values, 4)
		for i := range r.Input.Bin.Codes {
			if r.Input.Bin.Codes[i] == 1 {
				r.Input.Bin.Codes[i] = correlate.Blank
			}
		}
		r.Rack.Bins = r.Rack.Bins[:1]
		r.Days = r.Days[:24*10]
	},
	"huge and tiny": func(r *Report) {
		for i := range r.Input.Plants {
			r.Input.Outcomes[0].Values[i] *= 1e250
			r.Input.Outcomes[1].Values[i] *= 1e-250
		}
	},
	"one far off": func(r *Report) { r.Input.Outcomes[1].Values[9] = 1e6 },
	"per bin": func(r *Report) {
		r.Input.Treatments[0].SetPer = correlate.PerBin
		r.Input.Treatments[0].Codes = slices.Clone(r.Input.Bin.Codes)
	},
	"another year": func(r *Report) { r.Written = r.Written.AddDate(-1, 0, 0) },
	"from a table": func(r *Report) { r.Input.Table = true; r.Rack, r.Days = light.Rack{}, nil },
	"early":        func(r *Report) { r.Input.Early = true; r.Input.Departures = []string{"The block was left out."} },
}

// crowded makes a trial of many bins, many levels and long names in several scripts.
func crowded(t *testing.T, bins, levels int) Report {
	t.Helper()
	r := trial(t)
	in := &correlate.Input{
		Bin:        &correlate.Factor{Name: "bin"},
		Treatments: []correlate.Treatment{{SetPer: correlate.PerPlant, Factor: correlate.Factor{Name: `medium <"&'>`}}},
		Light:      &correlate.Light{Name: "light", Unit: "mol m⁻² d⁻¹"},
		Outcomes:   []correlate.Outcome{{Name: `Masse der Blätter & Stängel <frisch> "ganz"`, Kind: correlate.Measure, Unit: "g m⁻²", Scale: correlate.Natural, Primary: true}},
	}
	for l := range levels {
		in.Treatments[0].Levels = append(in.Treatments[0].Levels, fmt.Sprintf("Торф и перлит, <смесь> номер %d, λεπτή & πολύ μακρύ όνομα", l))
	}
	r.Rack.Bins, r.Rack.Sensors = nil, nil
	var days []account.Day
	for b := range bins {
		name := fmt.Sprintf("shelf %d & bin <ä>, with quite a long name", b)
		in.Bin.Levels = append(in.Bin.Levels, name)
		bin := light.Bin{Name: name, Rows: 6, Columns: 9}
		r.Rack.Bins = append(r.Rack.Bins, bin)
		r.Log = append(r.Log, light.Event{ID: uint64(10 + b), At: r.Rack.Day(r.Rack.Starts).From.Add(time.Duration(b) * time.Hour), Kind: light.LampMoved, Bin: name, Text: "up <&>"})
		for i, at := range bin.Positions() {
			days = append(days, account.Day{Date: r.Rack.Starts, Position: at, Figure: account.Figure{Known: true, DLI: light.DLI(12.345 + float64(i)), Source: account.FromBin}})
			in.Plants = append(in.Plants, fmt.Sprintf("P<%d>", len(in.Plants)))
			in.Bin.Codes, in.Row, in.Column = append(in.Bin.Codes, b), append(in.Row, at.Row), append(in.Column, at.Column)
			in.Treatments[0].Codes = append(in.Treatments[0].Codes, (i+b)%levels)
			in.Light.Values = append(in.Light.Values, 12.345+float64(i))
			in.Outcomes[0].Values = append(in.Outcomes[0].Values, -1234.5+float64(i*i%97)+float64((i+b)%levels))
		}
	}
	r.Input, r.Days = in, days
	return analysed(t, r)
}

func TestCrowded(t *testing.T) {
	t.Parallel()
	r := crowded(t, 12, 9)
	pictures := r.pictures()
	tidy(t, pictures)
	files := map[string]bool{}
	pairs, maps := 0, 0
	for _, q := range pictures {
		if files[q.file] {
			t.Errorf("two pictures are called %s", q.file)
		}
		files[q.file] = true
		if strings.Contains(q.file, "pairs") {
			pairs += len(q.table) - 1
		}
		if strings.HasPrefix(q.file, "light-map") {
			maps += len(q.table) - 1
		}
	}
	if pairs != 9*8/2 {
		t.Errorf("%d pairs are drawn, not %d", pairs, 9*8/2)
	}
	if maps != 12*54 {
		t.Errorf("%d positions are drawn, not %d", maps, 12*54)
	}
	var page strings.Builder
	if err := r.page(&page, pictures); err != nil {
		t.Fatal(err)
	}
	text := wellFormed(t, "index.html", []byte(page.String()))
	for _, want := range []string{`Masse der Blätter & Stängel <frisch> "ganz"`, "Торф и перлит, <смесь> номер 3", "shelf 3 & bin <ä>"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}
