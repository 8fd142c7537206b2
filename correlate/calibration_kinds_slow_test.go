//go:build slow

package correlate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// massCases are masses weighed at the start and at harvest, analysed as
// logarithms, media set per plant in bins that differ.
func massCases() []trialCase {
	const slopeOfStart, slopeOfLight = 0.7, 0.08
	var cases []trialCase
	for _, perMedium := range []int{4, 8, 24} {
		cases = append(cases, trialCase{
			name: fmt.Sprintf("masses, %d plants a medium", perMedium), trials: 2000,
			bounds: map[string]bound{
				"medium alarms": otherTest, "light alarms": otherTest, "start_g interval holds": single,
				"light slope holds": single, "medium pairs hold at once": family, "medium m1 interval holds": single,
				"adjusted mean holds": single, "equal slopes alarm": otherTest, "spread alarms": toldOnly,
			},
			draw: func(t *testing.T, rng *rand.Rand, c *calibrated) {
				t.Helper()
				in := grown(rng, 2, 2*perMedium, 4)
				o := &in.Outcomes[0]
				o.Scale = Log
				bins := []float64{0.3 * rng.NormFloat64(), 0.3 * rng.NormFloat64()}
				noise := make([]float64, len(o.Values))
				for i := range o.Values {
					noise[i] = 0.25 * rng.NormFloat64()
					o.Values[i] = math.Exp(1 + bins[in.Bin.Codes[i]] + slopeOfStart*math.Log(o.Start.Values[i]) + noise[i])
				}
				r := analyse(t, in)
				c.tests(r, "medium", "light")
				c.pairs(r, "medium", 1)
				c.coefficient(r, "start_g", "", slopeOfStart)
				c.coefficient(r, "medium", "m1", 0)
				c.checks(r)
				var start float64
				for _, v := range o.Start.Values {
					start += math.Log(v) / float64(len(o.Values))
				}
				for _, g := range r.Groups {
					c.holds("adjusted mean holds", g.CI95, math.Exp(1+(bins[0]+bins[1])/2+slopeOfStart*start))
				}
				for i := range o.Values { // the same trial where light does something
					o.Values[i] *= math.Exp(slopeOfLight * in.Light.Values[i])
				}
				c.holds("light slope holds", analyse(t, in).Light.CI95, slopeOfLight)
			},
		})
	}
	return append(cases, trialCase{
		name: "masses, labels dealt anew", trials: 1000,
		bounds: map[string]bound{"medium alarms": otherTest, "medium alarms, dealt anew": otherTest, "medium pairs hold at once": family},
		draw: func(t *testing.T, rng *rand.Rand, c *calibrated) {
			t.Helper()
			in := grown(rng, 2, 12, 3)
			in.Light, in.Table = nil, true
			for i := range in.Outcomes[0].Values { // skewed noise: what re-dealing is there for
				in.Outcomes[0].Values[i] = math.Log(in.Outcomes[0].Start.Values[i]) + rng.ExpFloat64()
			}
			r := analyse(t, in)
			c.tests(r, "medium")
			c.pairs(r, "medium", 0)
		},
	}, trialCase{
		name: "masses, media of unequal spread", trials: 2000,
		bounds: map[string]bound{
			"welch alarms": otherTest, "games_howell hold at once": family, "HC3 alarms": otherTest, "spread alarms": toldOnly,
			"medium alarms": {0, 1, "told only: one spread taken for all"},
		},
		draw: func(t *testing.T, rng *rand.Rand, c *calibrated) {
			t.Helper()
			in := grown(rng, 1, 36, 3)
			in.Light, in.Bin, in.Outcomes[0].Start = nil, nil, nil
			for i := range in.Outcomes[0].Values {
				in.Outcomes[0].Values[i] = float64(1+in.Treatments[0].Codes[i]) * rng.NormFloat64()
			}
			r := analyse(t, in)
			c.tests(r, "medium")
			c.checks(r)
			c.alarm("welch alarms", &r.UnequalSpread.Welch.P)
			all := true
			for _, p := range r.UnequalSpread.GamesHowell {
				all = all && p.CI95[0] <= 0 && p.CI95[1] >= 0
			}
			c.count("games_howell hold at once", all)
			c.alarm("HC3 alarms", r.Coefficients[1].PHC3)
		},
	})
}

// countCases are leaves and plantlets: 4 to 24 plants a medium in two bins,
// as spread as chance makes counts, more and less.
func countCases() []trialCase {
	var cases []trialCase
	for _, perMedium := range []int{4, 8, 24} {
		for _, spread := range []string{"as chance", "over", "under"} {
			bounds := map[string]bound{
				"medium alarms": otherTest, "medium pairs hold at once": family, "medium m1 interval holds": single,
				"adjusted mean holds": single, "light slope holds": single,
			}
			if spread != "under" { // there it has no size to find
				bounds["negative binomial alarms"] = bound{0, 1, "told only: it stands beside, where a size is found"}
			}
			cases = append(cases, trialCase{
				name: fmt.Sprintf("counts, %s, %d plants a medium", spread, perMedium), trials: 2000, bounds: bounds,
				draw: func(t *testing.T, rng *rand.Rand, c *calibrated) {
					t.Helper()
					const light = 0.05
					in := grown(rng, 2, 3*perMedium/2, 3)
					o := &in.Outcomes[0]
					o.Kind, o.Start = Count, nil
					bins := []float64{0.2 * rng.NormFloat64(), 0.2 * rng.NormFloat64()}
					var bright float64
					for i, l := range in.Light.Values {
						o.Values[i] = counted(rng, spread, 8*math.Exp(bins[in.Bin.Codes[i]]+light*(l-4.5)))
						bright += l / float64(len(o.Values))
					}
					r := analyse(t, in)
					c.tests(r, "medium")
					c.pairs(r, "medium", 1)
					c.coefficient(r, "medium", "m1", 0)
					for _, g := range r.Groups {
						c.holds("adjusted mean holds", g.CI95, 8*math.Exp((bins[0]+bins[1])/2+light*(bright-4.5)))
					}
					c.holds("light slope holds", r.Light.CI95, light)
					if nb := r.NegativeBinomial; nb != nil {
						for _, e := range nb.Effects {
							if e.Effect == "medium" {
								c.alarm("negative binomial alarms", e.P)
							}
						}
					}
				},
			})
		}
	}
	return cases
}

// counted draws a count of this mean: Poisson, its mean gamma-spread (variance
// about three times the mean at 8), or binomial (a fifth of it).
func counted(rng *rand.Rand, spread string, mean float64) float64 {
	switch spread {
	case "over":
		const shape = 4
		gamma := 0.0
		for range shape {
			gamma += rng.ExpFloat64()
		}
		return poisson(rng, mean*gamma/shape)
	case "under":
		const share = 0.8
		k, whole := 0.0, math.Floor(mean/share)
		for range int(whole) {
			if rng.Float64() < share {
				k++
			}
		}
		if rng.Float64() < mean-share*whole { // what is left of the mean
			k++
		}
		return k
	}
	return poisson(rng, mean)
}

// eventCases are rare events on single plants.
func eventCases() []trialCase {
	cases := []trialCase{eventsInLight(0.1, 72), eventsInLight(0.3, 36)}
	for _, share := range []float64{0.03, 0.1, 0.3} {
		cases = append(cases, trialCase{
			name: fmt.Sprintf("events on %g %% of plants", 100*share), trials: 2000,
			bounds: map[string]bound{
				"medium alarms": exactTest, "a pair is claimed": exactTest,
				"odds ratios hold at once": {0.93, 1, "an answer that never came leaves the pair out"},
				"share holds":              {0.93, 1, "Wilson's interval moves in steps with few events"},
			},
			draw: func(t *testing.T, rng *rand.Rand, c *calibrated) {
				t.Helper()
				in := grown(rng, 2, 36, 3)
				in.Light = nil
				events(in, rng, share, 0)
				r := analyse(t, in)
				c.tests(r, "medium")
				claimed, all, some := false, true, false
				for _, p := range r.Comparisons {
					claimed = claimed || p.P != nil && *p.P < 0.05
					if p.CI95 != nil {
						some, all = true, all && p.CI95[0] <= 1 && p.CI95[1] >= 1
					}
				}
				c.count("a pair is claimed", claimed)
				if some {
					c.count("odds ratios hold at once", all)
				}
				c.holds("share holds", r.Groups[0].CI95, share)
			},
		})
	}
	return cases
}

// eventsInLight are events that the model of single plants is asked about; it
// is fitted where they come often enough.
func eventsInLight(share float64, perBin int) trialCase {
	return trialCase{
		name: fmt.Sprintf("events on %g %%, with light", 100*share), trials: 1000,
		bounds: map[string]bound{"medium alarms": otherTest, "light alarms": otherTest, "light slope holds": single, "a model was fitted": {0.5, 1, ""}},
		draw: func(t *testing.T, rng *rand.Rand, c *calibrated) {
			t.Helper()
			in := grown(rng, 2, perBin, 3)
			events(in, rng, share, 0)
			r := analyse(t, in)
			c.count("a model was fitted", r.Model == "penalised logistic")
			if r.Model == "penalised logistic" {
				c.tests(r, "medium", "light")
			}
			const slope = 0.5
			events(in, rng, share, slope)
			if r = analyse(t, in); r.Light != nil {
				c.holds("light slope holds", r.Light.CI95, slope)
			}
		},
	}
}

// events draws answers of this share at the mean light; slope is in log odds.
func events(in *Input, rng *rand.Rand, share, slope float64) {
	o := &in.Outcomes[0]
	o.Kind, o.Start = YesNo, nil
	for i := range o.Values {
		odds := math.Log(share / (1 - share))
		if in.Light != nil {
			odds += slope * (in.Light.Values[i] - 4.5)
		}
		o.Values[i] = 0
		if rng.Float64() < 1/(1+math.Exp(-odds)) {
			o.Values[i] = 1
		}
	}
}

// unitCases are treatments of whole bins or reservoirs whose bins differ on
// their own; beside each stands the analysis that takes plants for replicates.
func unitCases() []trialCase {
	const bins, perBin = 8, 12
	var cases []trialCase
	for _, kind := range []Kind{Measure, Count, YesNo} {
		bounds := map[string]bound{"level alarms": otherTest, "medium alarms": otherTest, "level alarms, naive": naiveClaim}
		switch kind {
		case Measure, Count:
			bounds["level pairs hold at once"], bounds["medium pairs hold at once"] = family, family
		case YesNo:
			bounds["level alarms"], bounds["medium alarms"] = exactTest, exactTest
		}
		cases = append(cases, trialCase{
			name: fmt.Sprintf("%s, level per bin", kind), trials: 2000, bounds: bounds,
			draw: func(t *testing.T, rng *rand.Rand, c *calibrated) {
				t.Helper()
				in := grown(rng, bins, perBin, 3)
				in.Light = nil
				perUnit(in, rng, kind, nil)
				none := 1.0
				if kind == Measure {
					none = 0
				}
				r := analyse(t, in)
				c.tests(r, "level", "medium")
				if kind != YesNo {
					c.pairs(r, "level", none)
					c.pairs(r, "medium", none)
				}
				naive(t, c, in)
			},
		})
	}
	return append(cases, trialCase{
		name: "measure, level per reservoir", trials: 2000,
		bounds: map[string]bound{
			"level alarms": otherTest, "medium alarms": otherTest, "level pairs hold at once": family,
			"level alarms, naive":               naiveClaim,
			"level alarms, bins for reservoirs": {0.06, 1, "what bins as replicates would have claimed"},
		},
		draw: func(t *testing.T, rng *rand.Rand, c *calibrated) {
			t.Helper()
			in := grown(rng, 2*bins, perBin/2, 3)
			in.Light = nil
			in.Reservoir = &Factor{Name: "reservoir"}
			for r := range bins {
				in.Reservoir.Levels = append(in.Reservoir.Levels, fmt.Sprint("r", r))
			}
			for _, b := range in.Bin.Codes {
				in.Reservoir.Codes = append(in.Reservoir.Codes, b/2)
			}
			perUnit(in, rng, Measure, in.Reservoir)
			r := analyse(t, in)
			c.tests(r, "level", "medium")
			c.pairs(r, "level", 0)
			in.Treatments[1].SetPer = PerBin
			for _, e := range analyse(t, in).Effects {
				if e.Effect == "level" {
					c.alarm("level alarms, bins for reservoirs", e.P)
				}
			}
			naive(t, c, in)
		},
	})
}

// perUnit deals two levels to the units, bins if nil, and draws an outcome that
// neither the levels nor the media change, only the units.
func perUnit(in *Input, rng *rand.Rand, kind Kind, units *Factor) {
	per := PerReservoir
	if units == nil {
		units, per = in.Bin, PerBin
	}
	level := Factor{Name: "level", Levels: []string{"low", "high"}, Codes: make([]int, len(in.Plants))}
	order := rng.Perm(len(units.Levels))
	own := make([]float64, len(units.Levels))
	for u := range own {
		own[u] = 0.3 * rng.NormFloat64()
	}
	o := &in.Outcomes[0]
	o.Kind, o.Start = kind, nil
	for i, u := range units.Codes {
		level.Codes[i] = order[u] % 2
		switch kind {
		case Count:
			o.Values[i] = poisson(rng, 6*math.Exp(own[u]))
		case YesNo:
			o.Values[i] = 0
			if rng.Float64() < 1/(1+math.Exp(1-3*own[u])) {
				o.Values[i] = 1
			}
		default:
			o.Values[i] = 5 + own[u] + 0.5*rng.NormFloat64()
		}
	}
	in.Treatments = append(in.Treatments, Treatment{Factor: level, SetPer: per})
}

// naive analyses plants as if each had got its bin's treatment by itself.
func naive(t *testing.T, c *calibrated, in *Input) {
	t.Helper()
	plain := *in
	plain.Bin, plain.Reservoir = nil, nil
	plain.Treatments = slices.Clone(in.Treatments[1:])
	plain.Treatments[0].SetPer = PerPlant
	for _, e := range analyse(t, &plain).Effects {
		if e.Effect == "level" {
			c.alarm("level alarms, naive", e.P)
		}
	}
}
