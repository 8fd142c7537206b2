package demo

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"parstead/correlate"
)

// Claim is one thing that was planted in the season, with what the harvest
// correlation made of it.
type Claim struct {
	Planted string
	Found   string
	Holds   bool // whether the analysis shows what it should
	Modest  bool // whether what holds is that it can't be said
}

// Word says in a word whether what was planted was found.
func (c Claim) Word() string {
	switch {
	case !c.Holds:
		return "no"
	case c.Modest:
		return "can't say"
	}
	return "yes"
}

// Claims holds the results of the harvest correlation against what was planted.
func (w *World) Claims(r *correlate.Result) []Claim {
	v := view{w, r}
	return []Claim{
		v.rot(),
		v.pumice(Streptocarpus),
		v.pumice(peperomia),
		v.cultivar(),
		v.bestBin(),
		v.lightLevel(),
		v.saturation(),
		v.bestLight(),
		v.falseLead(),
		v.edge(),
		v.typed(),
		v.pond(),
	}
}

type view struct {
	*World
	r *correlate.Result
}

// outcome finds an outcome's result for a species; an empty one if it is absent.
func (v view) outcome(name, species string) *correlate.OutcomeResult {
	for i := range v.r.Outcomes {
		if o := &v.r.Outcomes[i]; o.Name == name && o.Of["species"] == species {
			return o
		}
	}
	return &correlate.OutcomeResult{}
}

func effect(o *correlate.OutcomeResult, name string) *correlate.Effect {
	for i := range o.Effects {
		if o.Effects[i].Effect == name {
			return &o.Effects[i]
		}
	}
	return &correlate.Effect{}
}

func comparison(o *correlate.OutcomeResult, treatment, a, b string) *correlate.Comparison {
	for i := range o.Comparisons {
		if c := &o.Comparisons[i]; c.Treatment == treatment && c.A == a && c.B == b {
			return c
		}
	}
	return &correlate.Comparison{}
}

func (v view) rot() Claim {
	c := Claim{Planted: fmt.Sprintf("rot: %d of 72 on sphagnum, %d of 216 else", RotSphagnum, RotElsewhere), Found: "no figure"}
	if v.Quiet {
		c.Planted = "no plant rotted"
	}
	on, others, elsewhere := 0, 0, 0
	var p *float64
	for _, l := range v.r.Lost {
		if len(l.Of) > 0 || l.Treatment != "medium" || l.Level == waterMedium {
			continue
		}
		if l.P != nil {
			p = l.P
		}
		if l.Level == "sphagnum" {
			on += l.Lost
		} else {
			elsewhere, others = elsewhere+l.Lost, others+l.N
		}
	}
	if p != nil {
		c.Found = fmt.Sprintf("%d, and %d of %d", on, elsewhere, others)
		c.Holds = *p < 0.001
	}
	return c
}

func (v view) pumice(species string) Claim {
	c := Claim{Planted: fmt.Sprintf("pumice takes %.0f %% off %s", 100*(1-PumiceFactor), species), Found: "no figure"}
	if got := comparison(v.outcome("biomass_g", species), "medium", "pumice", "coir"); got.Ratio != nil && got.CI95 != nil {
		c.Found = fmt.Sprintf("%.0f %% (%.0f to %.0f)", 100*(1-*got.Ratio), 100*(1-got.CI95[1]), 100*(1-got.CI95[0]))
		c.Holds = got.CI95[0] <= PumiceFactor && PumiceFactor <= got.CI95[1]
	}
	return c
}

func (v view) cultivar() Claim {
	c := Claim{Planted: fmt.Sprintf("cultivar B makes %.0f %% more plantlets", 100*(CultivarBFactor-1)), Found: "no figure"}
	if got := comparison(v.outcome("plantlets", Streptocarpus), "cultivar", "B", "A"); got.Ratio != nil && got.CI95 != nil {
		c.Found = fmt.Sprintf("%.0f %% (%.0f to %.0f)", 100*(*got.Ratio-1), 100*(got.CI95[0]-1), 100*(got.CI95[1]-1))
		c.Holds = got.CI95[0] > 1 && got.CI95[0] <= CultivarBFactor && CultivarBFactor <= got.CI95[1]
	}
	return c
}

// bestBin looks whether the bins still differ once light is allowed for.
func (v view) bestBin() Claim {
	best, most := "", 0.0
	for i := range v.places {
		sum, n := 0.0, 0.0
		for _, p := range v.Plants {
			if p.Dealt.Bin == v.places[i].Name && p.Species == Streptocarpus && !p.Guard() && !p.Lost() {
				sum, n = sum+p.BiomassG, n+1
			}
		}
		if n > 0 && sum/n > most {
			best, most = v.places[i].Name, sum/n
		}
	}
	c := Claim{Planted: best + " wins by its light alone", Found: "no figure"}
	if e := effect(v.outcome("biomass_g", Streptocarpus), "bin"); e.P != nil {
		c.Found = "bins then " + pValue(e.P)
		c.Holds = *e.P > 0.05
	}
	return c
}

// lightLevel sets the refusal of an answer over bins beside the slope within them.
func (v view) lightLevel() Claim {
	c := Claim{Planted: "light works; two bins a level are few", Found: "no figure"}
	o := v.outcome("biomass_g", Streptocarpus)
	level := effect(o, "light_level")
	if o.Light == nil || o.Light.WithinBin == nil || o.Light.WithinBin.P == nil {
		return c
	}
	of := "tested"
	if level.P == nil {
		of = "refused"
	}
	c.Found = fmt.Sprintf("level %s; %s", of, pValue(o.Light.WithinBin.P))
	c.Holds = level.Unit == "bin" && level.P == nil && *o.Light.WithinBin.P < 0.05
	return c
}

// saturation looks for the half-saturation: a season on one rack pins it down
// badly, and the result has to say so.
func (v view) saturation() Claim {
	c := Claim{
		Planted: fmt.Sprintf("%s half its mass at %.0f mol", Streptocarpus, HalfSaturation),
		Found:   "no figure", Modest: true,
	}
	o := v.outcome("biomass_g", Streptocarpus)
	if o.Light == nil {
		return c
	}
	for _, curve := range o.Light.Curve {
		for _, p := range curve.Parameters {
			if curve.Shape != "hyperbola" || p.Name != "K" {
				continue
			}
			if p.CI95 == nil || p.Estimate == nil {
				c.Found, c.Holds = "an interval without end", true
				continue
			}
			c.Found = fmt.Sprintf("%.1f (%.1f to %.1f)", *p.Estimate, p.CI95[0], p.CI95[1])
			c.Holds = p.CI95[0] <= HalfSaturation && HalfSaturation <= p.CI95[1] && p.CI95[1] > 2*p.CI95[0]
		}
	}
	if len(o.Light.Curve) > 0 && c.Found == "no figure" {
		c.Found, c.Holds = "not given", true
	}
	return c
}

// bestLight looks for the light that Peperomia does best in. Its curve is flat:
// no interval is an honest answer, a wrong one is not.
func (v view) bestLight() Claim {
	c := Claim{Planted: fmt.Sprintf("Peperomia best at %.1f mol", PeperomiaBest), Found: "no figure"}
	o := v.outcome("biomass_g", peperomia)
	if o.Light == nil {
		return c
	}
	for _, curve := range o.Light.Curve {
		for _, p := range curve.Parameters {
			switch {
			case curve.Shape != "quadratic" || p.Name != "optimum":
			case p.Estimate == nil || p.CI95 == nil:
				c.Found, c.Holds = "an interval without end", true
			default:
				c.Found = fmt.Sprintf("%.1f (%.1f to %.1f)", *p.Estimate, p.CI95[0], p.CI95[1])
				c.Holds = p.CI95[0] <= PeperomiaBest && PeperomiaBest <= p.CI95[1]
			}
		}
	}
	return c
}

// falseLead looks at the outcome that nothing causes.
func (v view) falseLead() Claim {
	c := Claim{Planted: fmt.Sprintf("variegation lost in %d of 144, no cause", Reversions), Found: "no figure"}
	o := v.outcome("variegation_lost", peperomia)
	effects := o.Effects
	if o.Exact != nil {
		effects = append(slices.Clip(effects), o.Exact.Effects...)
	}
	lead := &correlate.Effect{}
	for i := range effects {
		if e := &effects[i]; e.P != nil && e.Standing.Adjusted != nil && (lead.P == nil || *e.P < *lead.P) {
			lead = e
		}
	}
	if lead.P != nil {
		c.Found = fmt.Sprintf("%s, of all %.2f", pValue(lead.P), *lead.Standing.Adjusted)
		c.Holds = *lead.P < 0.05 && *lead.Standing.Adjusted > 0.05
	}
	return c
}

func (v view) edge() Claim {
	c := Claim{Planted: fmt.Sprintf("the edge adds %.0f %%", 100*(EdgeFactor-1)), Found: "no figure"}
	o := v.outcome("biomass_g", Streptocarpus)
	if o.Position != nil && o.Position.Edge != nil && o.Position.Edge.CI95 != nil {
		e := o.Position.Edge
		low, high := percent(e.CI95[0]), percent(e.CI95[1])
		c.Found = fmt.Sprintf("from %+.0f to %+.0f %%", low, high)
		c.Holds, c.Modest = low <= 0 && high >= 0, true
	}
	return c
}

func (v view) typed() Claim {
	c := Claim{Planted: v.Truth.Typed + " typed ten times too heavy", Found: "not noticed"}
	if v.Quiet {
		return Claim{Planted: "no mass was mistyped", Found: "", Holds: true}
	}
	for _, s := range v.outcome("biomass_g", peperomia).Suspects {
		if s.Plant == v.Truth.Typed {
			c.Found, c.Holds = "named", true
		}
	}
	return c
}

// pond looks whether the single bin under water was described and no more.
func (v view) pond() Claim {
	c := Claim{Planted: "Marsilea in one bin only", Found: "no figure"}
	o := v.outcome("biomass_g", marsilea)
	if o.N == 0 {
		return c
	}
	c.Found, c.Holds = "not compared", true
	for _, e := range o.Effects {
		if e.P != nil && (e.Unit == "bin" || e.Effect == "light_level") {
			c.Found, c.Holds = fmt.Sprintf("%s was tested", e.Effect), false
		}
	}
	return c
}

func pValue(p *float64) string {
	if *p < 0.001 {
		return "p < 0.001"
	}
	return strings.TrimRight(fmt.Sprintf("p = %.3f", *p), " ")
}

func percent(log float64) float64 { return 100 * math.Expm1(log) }
