package export

import (
	"context"
	"math"
	"slices"
	"strconv"
	"strings"

	"parstead/cmd/parstead/cells"
	"parstead/cmd/parstead/harvest"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/plan"
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
func (c *plantColumns) add(name, kind, unit, means, source string, of func(*plantRow) string) {
	for c.taken[strings.ToLower(name)] {
		name += "_"
	}
	c.taken[strings.ToLower(name)] = true
	c.list = append(c.list, column[*plantRow]{ColumnMeaning{Name: name, Type: kind, Unit: unit, Means: means, Source: source}, of})
}

// addOwn adds a column of the trial's own sheets, with its name there.
func (c *plantColumns) addOwn(name, kind, unit, means, source string, of func(*plantRow) string) {
	c.add(name, kind, unit, means, source, of)
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
	c.add("plant", typeText, "", "its code", "plants.csv", func(p *plantRow) string { return p.Code })
	whole := func(of func(light.Position) int) func(*plantRow) string {
		return func(p *plantRow) string {
			if p.Place.Row == 0 {
				return ""
			}
			return strconv.Itoa(of(p.Place))
		}
	}
	c.add("bin", typeText, "", "where it was dealt to", "layout.csv", func(p *plantRow) string { return p.Place.Bin })
	c.add("row", typeWhole, "", "of the bin's grid, from 1", "layout.csv", whole(func(p light.Position) int { return p.Row }))
	c.add("column", typeWhole, "", "of the bin's grid, from 1", "layout.csv", whole(func(p light.Position) int { return p.Column }))
	has := func(of func(light.Bin) string) bool {
		return slices.ContainsFunc(t.Rack.Bins, func(b light.Bin) bool { return of(b) != "" })
	}
	if has(func(b light.Bin) string { return b.Block }) {
		c.add("block", typeText, "", "bins that are alike; a bin without a block is one of its own", "trial.toml", func(p *plantRow) string {
			if p.bin.Block == "" && p.bin.Name != "" {
				return "bin " + p.bin.Name
			}
			return p.bin.Block
		})
	}
	if has(func(b light.Bin) string { return b.Reservoir }) {
		c.add("reservoir", typeText, "", "what waters its bin", "trial.toml", func(p *plantRow) string { return p.bin.Reservoir })
	}
	c.add("edge", typeBoolean, "", "yes: on the rim of the bin's grid", "computed", func(p *plantRow) string { return yesCell(p.bin.Edge(p.Place)) })
	c.add("guard", typeBoolean, "", "yes: an edge plant that is not analysed", "layout.csv", func(p *plantRow) string { return yesCell(p.Guard) })
}

// typeOf is the type of a column of the trial's own: of numbers where nothing else
// stands in it, and it is no treatment.
func typeOf(t *trial.Trial, name string) string {
	if slices.ContainsFunc(t.Treatments, func(x plan.Treatment) bool { return x.Name == name }) {
		return typeText
	}
	numbers := 0
	for i := range t.Plants {
		p := &t.Plants[i]
		if p.Columns[name] == "" {
			continue
		}
		if _, err := strconv.ParseFloat(p.Columns[name], 64); err != nil || !cells.IsNumber(p.Columns[name]) {
			return typeText
		}
		numbers++
	}
	if numbers == 0 {
		return typeText
	}
	return typeNumber
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
		c.addOwn(name, typeOf(t, name), "", means, "plants.csv, layout.csv or harvest.csv", func(p *plantRow) string { return p.Columns[name] })
	}
	var logs []string
	for _, o := range t.Outcomes {
		if o.Start == "" || o.Scale != analysis.Log || slices.Contains(logs, o.Start) {
			continue
		}
		logs = append(logs, o.Start)
		c.add("ln_"+o.Start, typeNumber, "", "natural logarithm of "+o.Start+", the covariate of "+o.Name, "computed", func(p *plantRow) string {
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
		c.add(name, typeNumber, unit, means, "computed", func(p *plantRow) string {
			if !p.light.Window.Known {
				return ""
			}
			return cell(of(&p.light.Window))
		})
	}
	ofTrial := func(name, unit, means string, of func(*account.Summary) float64) {
		c.add(name, typeNumber, unit, means, "computed", func(p *plantRow) string { return cell(of(&p.light.Trial)) })
	}
	ofWindow("light_dli", "mol m⁻² d⁻¹", "mean daily light integral of the positions it held, "+window, func(s *account.Summary) float64 { return float64(s.MeanDLI) })
	ofWindow("light_relative_error", "share", "one standard deviation of light_dli", func(s *account.Summary) float64 { return s.Error.Total() })
	ofWindow("light_independent_error", "share", "the part of light_relative_error that is the plant's own; the rest is shared by its bin or by all", func(s *account.Summary) float64 { return s.Error.Independent })
	ofWindow("light_spread", "mol m⁻² d⁻¹", "standard deviation of light_dli's days", func(s *account.Summary) float64 { return float64(s.Spread) })
	ofWindow("light_days", "d", "days that light_dli is the mean of", func(s *account.Summary) float64 { return float64(s.Whole) })
	ofWindow("light_covered", "share", "of these days' length that readings bridge", func(s *account.Summary) float64 { return s.Covered })
	ofWindow("light_filled", "share", "of their light that was estimated", func(s *account.Summary) float64 { return s.Filled })
	ofWindow("photoperiod", "h", "hours a day above 1 µmol m⁻² s⁻¹", func(s *account.Summary) float64 { return s.Photoperiod })
	c.add("light_source", typeText, "", "whichever gave most of light_dli: sensor, map, bin or timer", "computed", func(p *plantRow) string {
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
		of := typeNumber
		if k.Answers {
			of = typeBoolean
		}
		c.addOwn(o.Name, of, o.Unit, means, "harvest.csv, or the last count of counts.csv", func(p *plantRow) string {
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
			c.addOwn(o.Name+"_again", typeNumber, o.Unit, o.Name+" a second time, to show the scale's repeatability", "harvest.csv", func(p *plantRow) string {
				if v := p.Values[o.Name]; v.HasAgain {
					return cell(v.Again)
				}
				return ""
			})
		}
	}
}

func (c *plantColumns) fate() {
	add := func(name, kind, means string, of func(*plantRow) string) {
		c.add(name, kind, "", means, "harvest.csv", of)
	}
	add("status", typeText, "harvested, lost or withdrawn; empty: no row in harvest.csv", func(p *plantRow) string {
		if !p.HasHarvest {
			return ""
		}
		return p.Status.String()
	})
	add("date", typeDate, "the last day whose light counts", func(p *plantRow) string { return dateCell(p.Date) })
	add("lost_on", typeDate, "when it was lost", func(p *plantRow) string { return dateCell(p.LostOn) })
	add("cause", typeText, "of its loss", func(p *plantRow) string { return p.Cause })
	add("leave_out", typeText, "why the trial's own analysis leaves the plant out; its values stand here all the same", func(p *plantRow) string { return p.LeaveOut })
}
