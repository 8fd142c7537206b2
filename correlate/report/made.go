package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"parstead/correlate"
	"parstead/correlate/phrase"
	"parstead/light"
)

const notKnown = "Not known to the program."

// facts are what a report of a trial under lamps must say, known or not. The list
// follows published guidelines: Poorter et al. (2012), Functional Plant Biology
// 39:821–838, table 2; Tibbitts, Sager, Krizek (2000), Biotronics 29:9–16;
// Ćwiek-Kupczyńska et al. (2016), Plant Methods 12:44, table 1; the MIAPPE
// checklist 1.1.
func (r *Report) facts() []fact {
	list := []fact{
		{"Time and place", r.timeAndPlace()},
		{"Plant material", "Number of plants: " + strconv.Itoa(r.Result.Plants) + ". Organism, source and treatment before the trial: " + notKnown},
		{"Design", r.design()},
		{"What was replicated", r.replicated()},
		{"Randomisation", r.randomisation()},
		{"Light", "Photosynthetic photon flux density (PPFD), 400 to 700 nm, in µmol m⁻² s⁻¹; its daily integral (DLI) in mol m⁻² d⁻¹, from the light day's start to the next" + r.dayStarts() + ". " + r.lux()},
		{"Place of the light measurement", r.places()},
		{"Light maps", r.surveys()},
		{"Readings and surveys that are not used", r.unused()},
		{"Lamps' spectrum, red to far-red ratio", notKnown},
		{"Air", r.airWords()},
		{"Carbon dioxide, air movement", notKnown},
		{"Root zone, water and nutrients", r.water() + " Container, medium's pH and conductivity, nutrient solution: " + notKnown},
		{"Sensors", "Make, model, cosine correction and last calibration: " + notKnown + " The stated error is one standard deviation of a sensor's scale, as trial.toml gives it or as is assumed."},
		{"Outcomes", r.outcomeWords()},
		{"Data and software", "The numbers of every picture stand beside this page as CSV; parstead export writes readings, light and plants with a description of every column. Analysed and drawn by " + r.Version + "."},
	}
	return list
}

func (r *Report) timeAndPlace() string {
	if r.Rack.Starts.IsZero() {
		return "Dates: " + notKnown + " Site and contact: " + notKnown
	}
	return fmt.Sprintf("%s to %s, %s, time zone %s. Site and contact: %s", r.Rack.Starts, r.Rack.Ends,
		count(r.Rack.Starts.DaysUntil(r.Rack.Ends)+1, "light day", "light days"), r.Rack.Zone, notKnown)
}

func (r *Report) dayStarts() string {
	if r.Rack.Zone == nil {
		return ""
	}
	return " (" + r.Rack.DayStarts.String() + " local time)"
}

// design is the treatments, blocks and what every plant stands in.
func (r *Report) design() string {
	in := r.Input
	var parts []string
	for _, t := range in.Treatments {
		says := fmt.Sprintf("%s (%s), ", t.Name, strings.Join(t.Levels, ", "))
		if t.SetPer == correlate.Given {
			says += "which plants came with"
		} else {
			says += "set per " + string(t.SetPer)
		}
		if t.SetsLight {
			says += ", acting through light"
		}
		parts = append(parts, says)
	}
	says := "Treatments: " + strings.Join(parts, "; ") + "."
	if len(parts) == 0 {
		says = "No treatment."
	}
	if in.Bin != nil {
		says += fmt.Sprintf(" %s", phrase.Capital(count(len(in.Bin.Levels), "bin", "bins")))
		if in.Block != nil {
			says += " in " + count(len(in.Block.Levels), "block", "blocks")
		}
		says += "."
	}
	guards := 0
	for _, g := range in.Guard {
		if g {
			guards++
		}
	}
	if guards > 0 {
		says += " " + phrase.Capital(count(guards, "guard plant was", "guard plants were")) + " not analysed."
	}
	return says + " A plant is the unit of observation; the plant maps are the map of the design."
}

func (r *Report) replicated() string {
	var parts []string
	for _, t := range r.Input.Treatments {
		switch t.SetPer {
		case correlate.PerBin:
			parts = append(parts, t.Name+": whole bins")
		case correlate.PerReservoir:
			parts = append(parts, t.Name+": whole reservoirs")
		default:
			parts = append(parts, t.Name+": plants")
		}
	}
	if len(parts) == 0 {
		return "No treatment was replicated."
	}
	return strings.Join(parts, "; ") + ". What got a treatment as a whole is its replicate."
}

func (r *Report) randomisation() string {
	d := r.Input.Dealt
	if d == nil {
		return "Not known: no record of the layout shows how plants came to their positions, so no labels could be dealt anew."
	}
	return fmt.Sprintf("By parstead layout, seed %d: %s.", d.Seed, strings.TrimSuffix(d.Procedure, "."))
}

// lux says whether light was read as illuminance, and by which factor it became PPFD.
func (r *Report) lux() string {
	for _, s := range r.Rack.Sensors {
		if s.Measures == light.QuantityLux {
			return "Some sensors read lux; the table of bins gives the factor that turns it into PPFD, and where it comes from."
		}
	}
	return ""
}

func (r *Report) places() string {
	seen := map[string]bool{}
	var places []string
	for _, s := range r.Rack.Sensors {
		if !s.Measures.IsLight() || seen[s.Name] {
			continue
		}
		seen[s.Name] = true
		where := s.Position.String()
		if s.Position.WholeBin() {
			where += " as a whole"
		}
		places = append(places, s.Name+" at "+where)
	}
	if len(places) == 0 {
		return "No light sensor."
	}
	return strings.Join(places, "; ") + ". Height over the plants: " + notKnown
}

func (r *Report) surveys() string {
	if len(r.Rack.Survey) == 0 {
		return "No survey with a handheld meter."
	}
	walks, positions, meters := map[light.Date]bool{}, map[light.Position]bool{}, map[string]bool{}
	for _, s := range r.Rack.Survey {
		walks[r.Rack.DateAt(s.At)] = true
		positions[s.Position] = true
		if s.Meter != "" {
			meters[s.Meter] = true
		}
	}
	var days []string
	for d := range walks {
		days = append(days, d.String())
	}
	slices.Sort(days)
	says := fmt.Sprintf("%s with a handheld meter over %s, on %s.", count(len(r.Rack.Survey), "reading", "readings"),
		count(len(positions), "position", "positions"), strings.Join(days, ", "))
	if low, high, ok := r.surveyed(); ok {
		says += fmt.Sprintf(" PPFD from %s to %s µmol m⁻² s⁻¹.", number(low), number(high))
	}
	if len(meters) > 1 {
		says += fmt.Sprintf(" %d meters.", len(meters))
	}
	return says
}

func (r *Report) unused() string {
	if len(r.Unused) == 0 {
		return "Nothing was set aside for its value, its course or want of a survey, as far as is known."
	}
	return strings.Join(r.Unused, " ")
}

// surveyed is the range of PPFD that the meter showed; ok is false where it did
// not read PPFD.
func (r *Report) surveyed() (low, high float64, ok bool) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, s := range r.Rack.Survey {
		if s.Measures == light.QuantityPPFD {
			low, high = min(low, s.Value), max(high, s.Value)
		}
	}
	return low, high, low <= high
}

func (r *Report) water() string {
	if len(r.Rack.Floods) == 0 {
		return "Watering: " + notKnown
	}
	var parts []string
	for _, f := range r.Rack.Floods {
		var times []string
		for _, t := range f.Times {
			times = append(times, t.String())
		}
		parts = append(parts, fmt.Sprintf("reservoir %s floods at %s for %s", f.Reservoir, strings.Join(times, ", "), lasting(f.Lasts)))
	}
	return phrase.Capital(strings.Join(parts, "; ")) + "."
}

// lasting writes a duration.
func lasting(d time.Duration) string {
	if d < time.Minute {
		return phrase.Given(d.Seconds()) + " s"
	}
	return phrase.Given(d.Minutes()) + " min"
}

func (r *Report) outcomeWords() string {
	var parts []string
	for _, o := range r.Input.Outcomes {
		says := o.Name + " (" + strings.ReplaceAll(string(o.Kind), "_", "/")
		if o.Unit != "" {
			says += ", " + o.Unit
		}
		if o.Basis != "" {
			says += ", " + o.Basis
		}
		says += ")"
		if o.Start != nil {
			says += " with " + o.Start.Name + " at the start"
		}
		if o.OnlyText != "" {
			says += ", only " + o.OnlyText
		}
		parts = append(parts, says)
	}
	if len(parts) == 0 {
		return "None."
	}
	return strings.Join(parts, "; ") + ". How each was weighed or judged: " + notKnown
}

// airWords sums up temperature and humidity.
func (r *Report) airWords() string {
	var warm, dark, low, high, damp, dampDark mean
	for _, d := range r.Air {
		warm.add(d.LightMean)
		dark.add(d.DarkMean)
		low.add(d.Min)
		high.add(d.Max)
		damp.add(d.HumidityLight)
		dampDark.add(d.HumidityDark)
	}
	if warm.n+dark.n+low.n == 0 {
		return "Temperature and humidity: " + notKnown
	}
	says := fmt.Sprintf("Temperature %s in light and %s in the dark, mean over bins and days; lowest %s, highest %s.", warm.celsius(), dark.celsius(), number(low.least)+" °C", number(high.most)+" °C")
	if damp.n+dampDark.n == 0 {
		return says + " Humidity: " + notKnown
	}
	return says + fmt.Sprintf(" Relative humidity %s %% in light and %s %% in the dark.", damp.words(), dampDark.words())
}

// mean adds up what is known.
type mean struct {
	n           int
	sum         float64
	least, most float64
}

func (m *mean) add(x float64) {
	if math.IsNaN(x) {
		return
	}
	if m.n == 0 || x < m.least {
		m.least = x
	}
	if m.n == 0 || x > m.most {
		m.most = x
	}
	m.n++
	m.sum += x
}

func (m *mean) words() string {
	if m.n == 0 {
		return "not known"
	}
	return number(m.sum / float64(m.n))
}

func (m *mean) celsius() string {
	if m.n == 0 {
		return "not known"
	}
	return m.words() + " °C"
}
