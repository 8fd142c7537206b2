package trial

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"parstead/correlate/analysis"
	"parstead/correlate/plan"
	"parstead/light"
)

// unlike is by how much two bins' light differs where it is worth a word.
const unlike = 1.15

// strength is one way to tell how strong a bin's light is.
type strength struct {
	of    func(bin light.Bin) (x float64, ok bool)
	words string // of two bins that are given weaker first: what is wrong, with their names and figures
	key   string // where in trial.toml it may be mended
	exact bool   // bins of one level are to have the same
}

// warnUnsuited tells of bins whose level of light contradicts what else is known of
// their light: a "low" in the bin with the strongest lamp.
func (l *loader) warnUnsuited() {
	if !l.Dealt {
		return
	}
	ways := []strength{
		{func(b light.Bin) (float64, bool) { return float64(b.TargetDLI), b.TargetDLI > 0 }, "is meant to get %s mol a day", "target_dli", true},
		{l.surveyedLight, "had %s on average when it was last walked", "lamp", false},
		{l.watts, "has lamps of %s W", "lamp", false},
	}
	for _, tr := range l.Treatments {
		if tr.SetPer != analysis.PerBin || !tr.SetsLight && !namesLight(tr.Name) {
			continue
		}
		for _, way := range ways {
			if l.contradicted(tr, way) {
				break
			}
		}
	}
}

// namesLight tells whether a treatment is called by light: a grower may not know that
// its entry has a key that says so.
func namesLight(name string) bool {
	name = strings.ToLower(name)
	return slices.ContainsFunc([]string{"light", "lamp", "dli", "ppfd"}, func(word string) bool { return strings.Contains(name, word) })
}

// contradicted tells of the pair of bins that contradicts the levels most.
func (l *loader) contradicted(tr plan.Treatment, way strength) bool {
	type lit struct {
		index int
		level string
		x     float64
	}
	var bins []lit
	for k, bin := range l.Rack.Bins {
		p := slices.IndexFunc(l.Plants, func(p Plant) bool { return p.Place.Bin == bin.Name && p.Treatments[tr.Name] != "" })
		if x, ok := way.of(bin); ok && p >= 0 {
			bins = append(bins, lit{k, l.Plants[p].Treatments[tr.Name], x})
		}
	}
	ranks, ranked := ranksOf(tr.Levels)
	worst, says, at := unlike, "", place{}
	for _, a := range bins {
		for _, b := range bins {
			same := a.level == b.level
			if a.x <= b.x*worst || !(same && way.exact || !same && ranked && ranks[a.level] < ranks[b.level]) {
				continue
			}
			worst = a.x / b.x
			tell := func(x lit) string {
				return fmt.Sprintf("%q got %s and %s", l.Rack.Bins[x.index].Name, x.level, fmt.Sprintf(way.words, strconv.FormatFloat(x.x, 'g', 3, 64)))
			}
			says = fmt.Sprintf("%s and the bins' light don't fit: the bin %s, the bin %s", tr.Name, tell(a), tell(b))
			at = l.doc.at("bin[%d].%s", a.index, way.key)
		}
	}
	if says == "" {
		return false
	}
	l.warn(at, says, fmt.Sprintf("hang the lamps as dealt, then correct %s; or tie levels to the bins that can have them (only_bins under [[treatment]]) and deal anew", way.key))
	return true
}

// surveyedLight is the mean of a bin's newest walk.
func (l *loader) surveyedLight(bin light.Bin) (mean float64, ok bool) {
	var sum float64
	var newest *light.SurveyReading
	n := 0
	for i := range slices.Backward(l.Rack.Survey) { // in order of time
		r := &l.Rack.Survey[i]
		if r.Position.Bin != bin.Name || newest != nil && (r.Measures != newest.Measures || newest.At.Sub(r.At) > longestWalk) {
			continue
		}
		if newest == nil {
			newest = r
		}
		sum, n = sum+r.Value, n+1
	}
	if n == 0 {
		return 0, false
	}
	if newest.Measures.NeedsLampFactor() {
		factor, known := l.luxFactor(bin)
		return sum / float64(n) / factor, known
	}
	return sum / float64(n), true
}

// luxFactor is the lux per PPFD of the bin's lamps.
func (l *loader) luxFactor(bin light.Bin) (factor float64, ok bool) {
	for _, lamp := range l.Rack.Lamps {
		if slices.Contains(bin.Lamps, lamp.Name) && lamp.LuxPerPPFD > 0 {
			return float64(lamp.LuxPerPPFD), true
		}
	}
	return 0, false
}

// watts is what a bin's lamps draw.
func (l *loader) watts(bin light.Bin) (sum float64, ok bool) {
	for _, name := range bin.Lamps {
		i := slices.IndexFunc(l.Rack.Lamps, func(lamp light.Lamp) bool { return lamp.Name == name && lamp.Watts > 0 })
		if i < 0 {
			return 0, false
		}
		sum += l.Rack.Lamps[i].Watts
	}
	return sum, sum > 0
}

// ladder are words for more and more light.
var ladder = [][]string{
	{"none", "dark", "off", "unlit"},
	{"low", "lowest", "dim", "weak", "shade", "shaded", "little"},
	{"mid", "middle", "medium", "moderate", "half"},
	{"high", "highest", "bright", "strong", "full"},
}

// ranksOf orders levels by the numbers that they begin with, or by words of the
// ladder; ok is false where they have neither.
func ranksOf(levels []string) (ranks map[string]float64, ok bool) {
	byNumber, byWord := map[string]float64{}, map[string]float64{}
	for _, level := range levels {
		words := strings.Fields(strings.ToLower(level))
		if x, err := strconv.ParseFloat(words[0], 64); err == nil {
			byNumber[level] = x
		}
		if rung := slices.IndexFunc(ladder, func(rung []string) bool { return slices.Contains(rung, words[0]) }); rung >= 0 {
			byWord[level] = float64(rung)
		}
	}
	if len(byNumber) == len(levels) {
		return byNumber, true
	}
	return byWord, len(byWord) == len(levels)
}

// litHours is how long a bin's timers burn a day; ok is false where not all is told.
func (l *loader) litHours(bin light.Bin) (hours float64, ok bool) {
	const day = light.TimeOfDay(24 * time.Hour)
	if len(bin.Lamps) != 1 {
		return 0, false
	}
	for _, lamp := range l.Rack.Lamps {
		if lamp.Name != bin.Lamps[0] || len(lamp.On) == 0 || !lamp.During.From.IsZero() || !lamp.During.Until.IsZero() {
			continue
		}
		for i, on := range lamp.On {
			lasts := (lamp.Off[i] - on + day) % day
			if lasts == 0 {
				lasts = day
			}
			hours += time.Duration(lasts).Hours()
		}
		return hours, true
	}
	return 0, false
}
