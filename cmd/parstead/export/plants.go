package export

import (
	"bufio"
	"context"
	"encoding/json"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/harvest"
	"parstead/cmd/parstead/trial"
	"parstead/cmd/parstead/version"
	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/light"
	"parstead/light/account"
)

// plantRow is a plant with its light.
type plantRow struct {
	*trial.Plant
	light account.PlantLight
	bin   light.Bin
}

// plantColumns are the columns of plants.csv in the making.
type plantColumns struct {
	list  []column[*plantRow]
	taken map[string]bool // names, without regard to case
}

// add adds a column; where there is one of that name, another is made.
func (c *plantColumns) add(name, unit, means, source string, of func(*plantRow) string) {
	for c.taken[strings.ToLower(name)] {
		name += "_"
	}
	c.taken[strings.ToLower(name)] = true
	c.list = append(c.list, column[*plantRow]{ColumnMeaning{Name: name, Unit: unit, Means: means, Source: source}, of})
}

// addOwn adds a column of the trial's own sheets, with its name there.
func (c *plantColumns) addOwn(name, unit, means, source string, of func(*plantRow) string) {
	c.add(name, unit, means, source, of)
	c.list[len(c.list)-1].Of = name
}

func (x *exporter) plants(ctx context.Context) error {
	lightAccount := account.New(&x.trial.Rack, x.view, account.Options{Now: x.now})
	lights, err := lightAccount.Plants(ctx, x.trial.Stays(), x.trial.Window)
	if err != nil {
		return err
	}
	rows := make([]plantRow, len(lights))
	for i := range lights {
		p := &x.trial.Plants[i]
		rows[i] = plantRow{Plant: p, light: lights[i]}
		rows[i].bin, _ = x.trial.Rack.Bin(p.Place.Bin)
	}
	c := plantColumns{taken: map[string]bool{}}
	c.place(x.trial)
	c.came(x.trial)
	c.light(harvest.WindowWords(x.trial))
	c.found(x.trial)
	c.fate()
	return writeSheet(x, "plants.csv", "a row a plant", c.list, each(rows))
}

func (c *plantColumns) place(t *trial.Trial) {
	c.add("plant", "", "its code", "plants.csv", func(p *plantRow) string { return p.Code })
	whole := func(of func(light.Position) int) func(*plantRow) string {
		return func(p *plantRow) string {
			if p.Place.Row == 0 {
				return ""
			}
			return strconv.Itoa(of(p.Place))
		}
	}
	c.add("bin", "", "where it was dealt to", "layout.csv", func(p *plantRow) string { return p.Place.Bin })
	c.add("row", "", "of the bin's grid, from 1", "layout.csv", whole(func(p light.Position) int { return p.Row }))
	c.add("column", "", "of the bin's grid, from 1", "layout.csv", whole(func(p light.Position) int { return p.Column }))
	has := func(of func(light.Bin) string) bool {
		return slices.ContainsFunc(t.Rack.Bins, func(b light.Bin) bool { return of(b) != "" })
	}
	if has(func(b light.Bin) string { return b.Block }) {
		c.add("block", "", "bins that are alike; a bin without a block is one of its own", "trial.toml", func(p *plantRow) string {
			if p.bin.Block == "" && p.bin.Name != "" {
				return "bin " + p.bin.Name
			}
			return p.bin.Block
		})
	}
	if has(func(b light.Bin) string { return b.Reservoir }) {
		c.add("reservoir", "", "what waters its bin", "trial.toml", func(p *plantRow) string { return p.bin.Reservoir })
	}
	c.add("edge", "", "yes: on the rim of the bin's grid", "computed", func(p *plantRow) string { return yesCell(p.bin.Edge(p.Place)) })
	c.add("guard", "", "yes: an edge plant that is not analysed", "layout.csv", func(p *plantRow) string { return yesCell(p.Guard) })
}

// came adds what the plant came with and got, and logarithms of start values
// where an outcome is analysed on that scale.
func (c *plantColumns) came(t *trial.Trial) {
	columns := slices.Clone(t.Columns)
	for _, o := range t.Outcomes {
		if o.Exposure != "" && !slices.Contains(columns, o.Exposure) {
			columns = append(columns, o.Exposure)
		}
	}
	for _, name := range columns {
		means := "what the plant came with"
		for _, tr := range t.Treatments {
			if tr.Name == name {
				means = "treatment, set per " + string(tr.SetPer)
				if tr.SetPer == analysis.Given {
					means = "treatment that the plant came with"
				}
				means += "; the reference is " + tr.Levels[0]
			}
		}
		for _, o := range t.Outcomes {
			switch name {
			case o.Start:
				means = "starting value of " + o.Name
			case o.Exposure:
				means = "exposure of " + o.Name
			}
		}
		c.addOwn(name, "", means, "plants.csv, layout.csv or harvest.csv", func(p *plantRow) string { return p.Columns[name] })
	}
	var logs []string
	for _, o := range t.Outcomes {
		if o.Start == "" || o.Scale != analysis.Log || slices.Contains(logs, o.Start) {
			continue
		}
		logs = append(logs, o.Start)
		c.add("ln_"+o.Start, "", "natural logarithm of "+o.Start+", the covariate of "+o.Name, "computed", func(p *plantRow) string {
			v, ok := p.Number(o.Start)
			if !ok {
				return ""
			}
			return cell(math.Log(v))
		})
	}
}

// light adds the light figure that is tested, how it came to be, and that of the
// whole trial.
func (c *plantColumns) light(window string) {
	ofWindow := func(name, unit, means string, of func(*account.Summary) float64) {
		c.add(name, unit, means, "computed", func(p *plantRow) string {
			if !p.light.Window.Known {
				return ""
			}
			return cell(of(&p.light.Window))
		})
	}
	ofTrial := func(name, unit, means string, of func(*account.Summary) float64) {
		c.add(name, unit, means, "computed", func(p *plantRow) string { return cell(of(&p.light.Trial)) })
	}
	ofWindow("light_dli", "mol m⁻² d⁻¹", "mean daily light integral of the positions it held, "+window, func(s *account.Summary) float64 { return float64(s.MeanDLI) })
	ofWindow("light_relative_error", "share", "one standard deviation of light_dli", func(s *account.Summary) float64 { return s.Error.Total() })
	ofWindow("light_independent_error", "share", "the part of light_relative_error that is the plant's own; the rest is shared by its bin or by all", func(s *account.Summary) float64 { return s.Error.Independent })
	ofWindow("light_spread", "mol m⁻² d⁻¹", "standard deviation of light_dli's days", func(s *account.Summary) float64 { return float64(s.Spread) })
	ofWindow("light_days", "d", "days that light_dli is the mean of", func(s *account.Summary) float64 { return float64(s.Whole) })
	ofWindow("light_covered", "share", "of these days' length that readings bridge", func(s *account.Summary) float64 { return s.Covered })
	ofWindow("light_filled", "share", "of their light that was estimated", func(s *account.Summary) float64 { return s.Filled })
	ofWindow("photoperiod", "h", "hours a day above 1 µmol m⁻² s⁻¹", func(s *account.Summary) float64 { return s.Photoperiod })
	c.add("light_source", "", "whichever gave most of light_dli: sensor, map, bin or timer", "computed", func(p *plantRow) string {
		if !p.light.Window.Known {
			return ""
		}
		return p.light.Window.Source.String()
	})
	ofTrial("light_total", "mol m⁻²", "all the light that is known, from the trial's start to the plant's last day", func(s *account.Summary) float64 { return float64(s.Total) })
	ofTrial("light_missing", "share", "of that time of which the light is not known", func(s *account.Summary) float64 { return s.Missing })
}

// found adds the outcomes.
func (c *plantColumns) found(t *trial.Trial) {
	for _, o := range t.Outcomes {
		k := kind.Of(o.Kind)
		means := "outcome: " + k.Says
		if o.Basis != "" {
			means += ", " + o.Basis
		}
		c.addOwn(o.Name, o.Unit, means, "harvest.csv, or the last count of counts.csv", func(p *plantRow) string {
			v, ok := p.Values[o.Name]
			switch {
			case !ok:
				return ""
			case k.Answers && v.Value == 1:
				return "yes"
			case k.Answers:
				return "no"
			}
			return cell(v.Value)
		})
		if slices.ContainsFunc(t.Plants, func(p trial.Plant) bool { return p.Values[o.Name].HasAgain }) {
			c.addOwn(o.Name+"_again", o.Unit, o.Name+" a second time, to show the scale's repeatability", "harvest.csv", func(p *plantRow) string {
				if v := p.Values[o.Name]; v.HasAgain {
					return cell(v.Again)
				}
				return ""
			})
		}
	}
}

func (c *plantColumns) fate() {
	text := func(name, means string, of func(*plantRow) string) { c.add(name, "", means, "harvest.csv", of) }
	text("status", "harvested, lost or withdrawn; empty: no row in harvest.csv", func(p *plantRow) string {
		if !p.HasHarvest {
			return ""
		}
		return p.Status.String()
	})
	text("date", "the last day whose light counts", func(p *plantRow) string { return p.Date.String() })
	text("lost_on", "when it was lost", func(p *plantRow) string {
		if p.LostOn.IsZero() {
			return ""
		}
		return p.LostOn.String()
	})
	text("cause", "of its loss", func(p *plantRow) string { return p.Cause })
	text("leave_out", "why the trial's own analysis leaves the plant out; its values stand here all the same", func(p *plantRow) string { return p.LeaveOut })
}

// describe writes what every column means, and what is needed to read the
// readings: the sensors.
func (x *exporter) describe(context.Context) error {
	type sensor struct {
		Name     string  `json:"name"`
		Measures string  `json:"measures"`
		Unit     string  `json:"unit,omitempty"`
		Bin      string  `json:"bin"`
		Row      int     `json:"row,omitempty"`
		Column   int     `json:"column,omitempty"`
		Scale    float64 `json:"scale"`
		Offset   float64 `json:"offset"`
		From     string  `json:"from,omitempty"`
		Until    string  `json:"until,omitempty"`
	}
	t := x.trial
	about := struct {
		Trial     string         `json:"trial"`
		Timezone  string         `json:"timezone"`
		DayStarts string         `json:"day_starts"`
		Starts    light.Date     `json:"starts"`
		Ends      light.Date     `json:"ends"`
		Written   string         `json:"written"`
		By        string         `json:"by"`
		Files     []SheetMeaning `json:"files"`
		Sensors   []sensor       `json:"sensors"`
		Analysis  analysisAsked  `json:"analysis"`

		LogData map[uint64]json.RawMessage `json:"log_data"` // too long for a cell
	}{
		t.Name, t.Rack.Zone.String(), t.Rack.DayStarts.String(), t.Rack.Starts, t.Rack.Ends,
		x.now().UTC().Format(time.RFC3339), version.Words(), x.Sheets,
		[]sensor{},
		analysisOf(t),
		x.data,
	}
	for _, s := range t.Rack.Sensors {
		about.Sensors = append(about.Sensors, sensor{
			s.Name, s.Measures.String(), s.Measures.Unit(), s.Position.Bin, s.Position.Row, s.Position.Column,
			s.Scale, s.Offset, timeCell(s.During.From), timeCell(s.During.Until),
		})
	}
	return atomicfile.Create(filepath.Join(x.dir, Description), 0o600, func(w *bufio.Writer) error {
		out := json.NewEncoder(w)
		out.SetEscapeHTML(false)
		out.SetIndent("", "  ")
		return out.Encode(about)
	})
}
