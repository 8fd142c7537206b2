package field

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"parstead/light"
)

// Residual is a reading against what the walk's other readings expect of it.
type Residual struct {
	Reading
	Off   float64 // natural log of the reading over that; NaN where nothing else speaks of it
	SD    float64 // one standard deviation of Off, were nothing amiss
	Named bool    // beyond what the others can explain
	Aside bool    // and beyond doubt: it enters no map
}

// Doubt is something about a walk that its writer should look at.
type Doubt struct {
	Line light.Line // of the sheet; zero where the walk as a whole is meant
	Says string     // what is wrong, without a full stop
	Mend string
	Off  float64 // of a row: natural log of its reading over what the others expect; 0 where that is not the matter
}

// Sentence is the doubt as one.
func (d Doubt) Sentence() string {
	if d.Line == (light.Line{}) {
		return fmt.Sprintf("%s; %s.", d.Says, d.Mend)
	}
	return fmt.Sprintf("%s: %s; %s.", d.Line, d.Says, d.Mend)
}

// When a reading is named and when it is set aside: a smaller error may be a true
// shadow, of which a bin may have several (common practice, no source; the rates
// at which slips are found and sound readings are named stand in DEVELOPERS.md).
const (
	slipZ      = 4   // standard deviations from what the others expect
	slipNamed  = 0.3 // natural log
	slipAside  = 0.9
	mostSlips  = 3 // of a walk
	slipPlaces = 5 // surveyed positions that a verdict takes at least
)

// screened is a walk with what is amiss in it.
type screened struct {
	used      []Reading
	residuals []Residual // of all readings, in their order
	doubts    []Doubt
	w         *walked // of used, with its posterior
	p         *posterior
}

// screen fits a walk and looks for readings that the others can't explain, worst
// first, each time without those found before. A repeat of a reading that agrees with
// it takes the verdict back.
func screen(bin light.Bin, walk []Reading, weights []float64) *screened {
	s := &screened{residuals: make([]Residual, len(walk))}
	for i, r := range walk {
		s.residuals[i] = Residual{Reading: r, Off: math.NaN(), SD: math.NaN()}
	}
	sun := bin.Daylight == light.Sunlit // lights a place ten times as much as the next, and is no slip
	if !sun {
		s.heaps()
	}
	for slips := 0; ; slips++ {
		kept := s.fit(bin, weights, func(r *Residual) bool { return !r.Named })
		worst := s.judge(kept)
		if worst == nil || sun || slips == mostSlips || s.w.places < slipPlaces {
			break
		}
		worst.Named, worst.Aside = true, math.Abs(worst.Off) > slipAside
	}
	if slices.ContainsFunc(s.residuals, func(r Residual) bool { return r.Named && !r.Aside }) { // what is only named stays in
		s.fit(bin, weights, func(r *Residual) bool { return !r.Aside })
	}
	s.tell()
	return s
}

// fit fits the readings that are kept, and gives them.
func (s *screened) fit(bin light.Bin, weights []float64, keep func(*Residual) bool) (kept []*Residual) {
	s.used = nil
	for i := range s.residuals {
		if r := &s.residuals[i]; keep(r) {
			kept, s.used = append(kept, r), append(s.used, r.Reading)
		}
	}
	s.w = group(bin, s.used)
	s.p = s.w.average(weights, true)
	return kept
}

// judge notes by how much the kept readings are off, and finds the worst that is
// beyond them all; nil where none is.
func (s *screened) judge(kept []*Residual) (worst *Residual) {
	most := float64(slipZ)
	for k, e := range s.p.readings {
		if math.IsInf(e.sd, 1) {
			continue
		}
		kept[k].Off, kept[k].SD = e.off, e.sd
		if z := math.Abs(e.off) / e.sd; z > most && math.Abs(e.off) > slipNamed && !s.confirmed(k) {
			worst, most = kept[k], z
		}
	}
	return worst
}

// confirmed tells whether used reading k was repeated, and is not off from that by
// what would be named: then it is true, a shadow maybe.
func (s *screened) confirmed(k int) bool {
	for j, r := range s.used {
		if j != k && r.Position == s.used[k].Position && math.Abs(logRatio(r)-logRatio(s.used[k])) < slipNamed {
			return true
		}
	}
	return false
}

// Two heaps of readings, so far apart that no lamp lights a bin like that.
const (
	heapGap   = 5.0 // times between the highest of the lower and the lowest of the upper
	fewGap    = 8.0 // the same where the smaller heap has three readings or two
	heapShare = 0.4 // of the readings are in the smaller heap at most; else only the sensors know which is wrong
)

// heaps sets aside the smaller of two heaps of readings: some rows in another unit,
// or without their decimal point.
func (s *screened) heaps() {
	order := make([]int, len(s.residuals))
	for i := range order {
		order[i] = i
	}
	value := func(i int) float64 { return logRatio(s.residuals[i].Reading) }
	slices.SortFunc(order, func(i, j int) int { return cmp.Compare(value(i), value(j)) })
	cut, gap := 0, math.Log(heapGap)
	for k := 1; k < len(order); k++ {
		if d := value(order[k]) - value(order[k-1]); d > gap {
			cut, gap = k, d
		}
	}
	if cut == 0 {
		return
	}
	few, many := order[:cut], order[cut:]
	if len(few) > len(many) {
		few, many = many, few
	}
	if len(few) == 1 || len(few) <= mostSlips && gap < math.Log(fewGap) {
		return // so few are judged one by one
	}
	middle := value(many[len(many)/2])
	if float64(len(few)) > heapShare*float64(len(order)) { // the sensors may know
		other := value(few[len(few)/2])
		if math.IsNaN(s.residuals[few[0]].Reference) || math.Abs(math.Abs(other)-math.Abs(middle)) < math.Log(heapGap) {
			return
		}
		if math.Abs(other) < math.Abs(middle) {
			few, middle = many, other
		}
	}
	for _, i := range few {
		r := &s.residuals[i]
		r.Named, r.Aside, r.Off = true, true, value(i)-middle
	}
}

// tell words what is amiss with single readings.
func (s *screened) tell() {
	for _, r := range s.residuals {
		if !r.Named {
			continue
		}
		d := Doubt{Line: r.Row, Off: r.Off, Says: fmt.Sprintf("%s at %s reads %s what the other readings of the walk expect there", number(r.PPFD), r.Position, times(r.Off))}
		if guess := likely(r.Off); guess != "" {
			d.Says += ", as if " + guess
		}
		d.Mend = "read this position again, and correct the row or keep both"
		if r.Aside {
			d.Says += "; it is set aside"
		}
		s.doubts = append(s.doubts, d)
	}
}

func number(x float64) string { return fmt.Sprintf("%.4g µmol m⁻² s⁻¹", x) }

// times words a ratio by its logarithm.
func times(off float64) string {
	if off < 0 {
		return fmt.Sprintf("1/%.3g of", math.Exp(-off))
	}
	return fmt.Sprintf("%.3g times", math.Exp(off))
}

// likely is what a grower may have done to a reading that is off by so much.
func likely(off float64) string {
	x := math.Exp(math.Abs(off))
	switch {
	case x > 7 && x < 14 && off > 0:
		return "a decimal point were missing"
	case x > 7 && x < 14:
		return "a digit were missing"
	case x > luxLeast && x < luxMost && off > 0:
		return "lux were written under ppfd"
	}
	return ""
}

// luxLeast and luxMost are lux per µmol m⁻² s⁻¹ of lamps that are not one narrow
// band (daylight 54, white lamps 60 to 85; common practice, no source).
const (
	luxLeast = 20.0
	luxMost  = 130.0
)
