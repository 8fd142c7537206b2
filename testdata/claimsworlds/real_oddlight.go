package claimsworlds

import "math"

// realOddLight: light that does not act in a straight line, and the rim.
func realOddLight() []World {
	return []World{
		saturating(), humped(), humpedLamps(),
		edgeWorldReal("real-edge-is-light", "The rim is darker and nothing else varies: edge and light are one column; light truly helps.", 0, usualSlope, 0, MustAdmit),
		edgeBesideLight(),
	}
}

func saturatingCurve(light float64) float64 { return 1.2 * light / (light + 120) }

func saturating() World {
	f := active("medium", []float64{0, math.Log(1.2), 0}, "peat", "coir", "bark")
	t := usualTruth("mass", LogRatio, []factor{f}, nil, 0)
	last := &t[len(t)-1]
	last.Value, last.Note = math.NaN(), "no single slope; at light L it is 144/(L+120)²; the line is in Realised"
	return World{
		Name:    "real-saturating-light",
		Trouble: "More light helps less and less; coir truly gives 20 %.",
		Attacks: "a straight line through a bent response is not taken beyond the plants, media stay right",
		Null:    false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			p := usual
			p.placeCV = 0.25
			return curvedTrial(seed, p, f, saturatingCurve)
		},
	}
}

func humpedCurve(light float64) float64 {
	d := (light - meanLight) / 100
	return -0.5 * d * d
}

func humped() World {
	f := active("medium", []float64{0, 0, math.Log(0.8)}, "peat", "coir", "bark")
	t := usualTruth("mass", LogRatio, []factor{f}, nil, 0)
	last := &t[len(t)-1]
	last.Value, last.Note = math.NaN(), "no single slope; at light L it is −(L−200)/10000; the line is in Realised"
	return World{
		Name:    "real-humped-light",
		Trouble: "Too little and too much light both harm, 200 is best; bark truly costs 20 %.",
		Attacks: "'light does nothing' is not concluded from a flat line",
		Null:    false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			p := usual
			p.placeCV = 0.25
			return curvedTrial(seed, p, f, humpedCurve)
		},
	}
}

func curvedTrial(seed uint64, p plan, f factor, curve func(float64) float64) Trial {
	b := lay(seed, p)
	b.dealPlants(f)
	b.act(f)
	b.add(func(i int) float64 { return curve(b.light[i]) })
	b.unequalBins(0.1)
	b.mass()
	b.realise("mass", LogRatio, Judge)
	return b.trial()
}

// humpedLamps: three lamp settings under and over the best light.
func humpedLamps() World {
	const place, lampCV = 0.15, 0.05
	settings := []float64{0.6, 1, 1.4}
	total := idle("lamp", lampLevels...)
	for k, s := range settings {
		mean := meanLight * s
		// The variance of a product of two free factors of mean 1.
		variance := mean * mean * ((1+place*place)*(1+lampCV*lampCV) - 1)
		d := mean - meanLight
		total.effects[k] = -0.5 * (d*d + variance) / 1e4
	}
	direct := idle("lamp", lampLevels...)
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, nil, math.NaN())
	t[len(t)-1].Note = "no single slope: up under dim lamps, down under bright ones; the line is in Realised"
	t = append(t, pairs("mass", LogRatio, total).as(Judge, "whole effect of the lamp, by its light")...)
	d := pairs("mass", LogRatio, direct).as(AlsoRight, "beside its light the lamp does nothing; a straight line of light cannot show that")
	t = append(t, d.with(func(e *Estimand) { e.Held = []string{"light, as the curve −0.5·((light−200)/100)²"} })...)
	return World{
		Name:    "real-humped-lamps",
		Trouble: "Lamps at 120, 200 and 280, declared to act through light; 200 is best, both others harm.",
		Attacks: "a bent response over bin levels: pairs are right, the straight slope is not trusted across levels",
		Null:    false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 9, rows: 3, cols: 4, shelves: 3, placeCV: place, lampCV: lampCV})
			b.dealPlants(idleMedium)
			b.dealBins(total)
			b.scaleLight(func(i int) float64 { return settings[b.is(total, i)] })
			b.add(func(i int) float64 { return humpedCurve(b.light[i]) })
			b.unequalBins(0.08)
			b.mass()
			b.roles.ThroughLight = []string{"lamp"}
			b.realise("mass", LogRatio, Judge)
			return b.trial()
		},
	}
}

func edgeWorldReal(name, trouble string, rough, lightSlope, rimEffect float64, blame Blame) World {
	w := edgeWorld(name, trouble, rough, lightSlope, rimEffect)
	w.Blame = blame
	if rimEffect == 0 {
		return w // no treatment acts: still null but for light
	}
	w.Null = false
	return w
}

// edgeBesideLight: the rim is darker and dries out; both can be told apart.
func edgeBesideLight() World {
	w := edgeWorldReal("real-edge-beside-light", "The rim is darker and it also dries out (−14 %); light varies by 15 % beside it.", 0.15, usualSlope, math.Log(0.86), MustHold)
	w.Attacks = "edge and light are told apart where they can be"
	return w
}
