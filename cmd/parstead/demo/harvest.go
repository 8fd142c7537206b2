package demo

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"

	"parstead/light"
)

// What is planted in the harvest.
const (
	HalfSaturation  = 4.0  // mol m⁻² d⁻¹, of Streptocarpus mass
	PeperomiaBest   = 4.8  // mol m⁻² d⁻¹
	PeperomiaBend   = -0.5 // on log mass, per squared share of PeperomiaBest
	PumiceFactor    = 0.84 // on mass, both species
	CultivarBFactor = 1.40 // on plantlets
	PlantletsMean   = 8.0  // of cultivar A at PlantletsAt
	PlantletsAt     = 4.3  // mol m⁻² d⁻¹
	PlantletsSize   = 6.0  // of the negative binomial
	PlantletsPower  = 0.8  // rate of plantlets goes with DLI to this power
	EdgeFactor      = 1.04 // on mass, beyond light
	StartSlope      = 0.6  // of log mass on log starting mass
	BinSD           = 0.05 // on log mass
	PlantCV         = 0.24
	RotSphagnum     = 11 // of 72
	RotElsewhere    = 2  // of 216
	Reversions      = 8  // of 144 Peperomia, with no cause

	massStrep  = 34.0 // g, as light saturates
	massPep    = 17.0 // g, at the best light
	massWater  = 4.0  // g
	leavesPow  = 0.3
	againSD    = 0.01
	againEvery = 12
)

// Truth names what this seed planted at random.
type Truth struct {
	BinEffect map[string]float64 // on log mass
	Typed     string             // plant whose mass was typed ten times too large
	Labels    [2]string          // plants whose labels were swapped at the harvest
	Moved     [2]string          // plants that changed places in the season
	Dropped   string             // plant lost by accident
}

// grow decides every plant's fate and what it came to.
func (w *World) grow() {
	w.Truth.BinEffect = map[string]float64{}
	rng := w.stream(streamHarvest)
	for i := range w.places {
		w.Truth.BinEffect[w.places[i].Name] = BinSD * rng.NormFloat64()
	}
	trial := w.Rack.Trial()
	for i := range w.Plants {
		p := &w.Plants[i]
		p.Harvested = w.harvestDate(p.Dealt.Bin)
		p.stays = []light.Stay{{Position: p.Dealt, During: trial}}
	}
	w.misfortunes(w.stream(streamMistakes))
	for i := range w.Plants {
		p := &w.Plants[i]
		p.MeanDLI = w.meanDLI(p)
		w.weigh(rng, p)
	}
}

// harvestDate takes a shelf a day, the pond last.
func (w *World) harvestDate(name string) light.Date {
	for i := range w.places {
		if w.places[i].Name == name {
			return w.date(w.season.harvest[i/2])
		}
	}
	panic("demo: no bin " + name)
}

func (w *World) meanDLI(p *Plant) float64 {
	days := w.Rack.Starts.DaysUntil(p.Harvested) + 1
	var sum float64
	for day := range days {
		whole := w.days[day]
		for _, stay := range p.stays {
			held, ok := whole.Within(stay.During)
			if !ok {
				continue
			}
			b := w.place(stay.Position.Bin)
			share := 1.0
			if held != whole {
				share = b.litDuring(held) / b.litDuring(whole)
			}
			sum += share * float64(b.dli(b.Index(stay.Position), day))
		}
	}
	return sum / float64(days)
}

// litDuring is how many seconds of the span the lamp burns.
func (b *bin) litDuring(span light.Span) float64 {
	var sum float64
	for _, lit := range b.lit {
		if part, ok := lit.Within(span); ok {
			sum += part.Length().Seconds()
		}
	}
	return sum
}

// weigh draws what the plant came to. Every plant takes the same number of
// draws from the stream of masses, lost or not.
func (w *World) weigh(rng *rand.Rand, p *Plant) {
	if p.Guard() {
		return
	}
	b := w.place(p.Dealt.Bin)
	light := p.MeanDLI
	own := math.Sqrt(math.Log1p(PlantCV*PlantCV)) * rng.NormFloat64()
	log := w.Truth.BinEffect[b.Name] + own
	if b.Edge(p.Dealt) {
		log += math.Log(EdgeFactor)
	}
	if p.Medium == "pumice" {
		log += math.Log(PumiceFactor)
	}
	leaves := 0.0
	switch p.Species {
	case Streptocarpus:
		log += math.Log(massStrep*light/(HalfSaturation+light)) + StartSlope*math.Log(p.StartG/startStrep)
		mean := PlantletsMean * math.Pow(light/PlantletsAt, PlantletsPower)
		if p.Cultivar == "B" {
			mean *= CultivarBFactor
		}
		rate := distuv.Gamma{Alpha: PlantletsSize, Beta: PlantletsSize / mean, Src: rng}.Rand()
		p.Plantlets = int(distuv.Poisson{Lambda: rate, Src: rng}.Rand())
		leaves = 11
	case peperomia:
		off := (light - PeperomiaBest) / PeperomiaBest
		log += math.Log(massPep) + PeperomiaBend*off*off + StartSlope*math.Log(p.StartG/startPep)
		leaves = 15
	case marsilea:
		log += math.Log(massWater) + StartSlope*math.Log(p.StartG/startWater)
		leaves = 18
	}
	p.BiomassG = round(math.Exp(log), 0.01)
	again := math.Exp(againSD * rng.NormFloat64())
	if rng.IntN(againEvery) == 0 && p.Code != w.Truth.Typed {
		p.AgainG = round(p.BiomassG*again, 0.01)
	}
	if leaves > 0 {
		// Leaves vary less than counts by chance do: a plant makes them in turn.
		late := leaves * math.Pow(light/PlantletsAt, leavesPow)
		for i, share := range []float64{0.5, 1} {
			mean := late * share
			p.Leaves[i] = max(1, int(math.Round(mean+0.6*math.Sqrt(mean)*rng.NormFloat64())))
		}
		p.Leaves[1] = max(p.Leaves[0], p.Leaves[1])
	}
}

// Guard tells whether the plant only shields others and is not analysed.
func (p *Plant) Guard() bool { return p.StartG == 0 }

// misfortunes chooses who rots, who is dropped, who moves, who loses its
// variegation, and whose record is wrong.
func (w *World) misfortunes(rng *rand.Rand) {
	if w.Quiet {
		return
	}
	order := rng.Perm(len(w.Plants))
	taken := map[int]bool{}
	choose := func(n int, fits func(*Plant) bool) []*Plant {
		var chosen []*Plant
		for _, i := range order {
			if p := &w.Plants[i]; len(chosen) < n && !taken[i] && !p.Guard() && fits(p) {
				taken[i] = true
				chosen = append(chosen, p)
			}
		}
		if len(chosen) < n {
			panic("demo: too few plants for the scenario")
		}
		return chosen
	}
	rot := choose(RotSphagnum, func(p *Plant) bool { return p.Medium == "sphagnum" })
	rot = append(rot, choose(RotElsewhere, func(p *Plant) bool {
		return p.Medium != "sphagnum" && p.Species != marsilea
	})...)
	for _, p := range rot {
		p.Cause = "rot"
		p.LostOn = w.date(w.season.firstRot + rng.IntN(w.season.lastRot-w.season.firstRot+1))
	}
	dropped := choose(1, func(p *Plant) bool { return p.Species == Streptocarpus })[0]
	dropped.Cause, dropped.LostOn = "accident", w.date(w.season.accident)
	w.Truth.Dropped = dropped.Code

	one := choose(1, func(p *Plant) bool { return p.Species == peperomia })[0]
	other := choose(1, func(p *Plant) bool { return p.Species == peperomia && p.Dealt.Bin == one.Dealt.Bin })[0]
	w.Truth.Moved = [2]string{one.Code, other.Code}
	trial, at := w.Rack.Trial(), w.season.swap
	swap := func(p *Plant, to light.Position) {
		p.stays = []light.Stay{
			{Position: p.Dealt, During: light.Span{From: trial.From, Until: at}},
			{Position: to, During: light.Span{From: at, Until: trial.Until}},
		}
	}
	swap(one, other.Dealt)
	swap(other, one.Dealt)

	w.Truth.Typed = choose(1, func(p *Plant) bool { return p.Species == peperomia })[0].Code
	first := choose(1, func(p *Plant) bool { return p.Species == Streptocarpus })[0]
	second := choose(1, func(p *Plant) bool {
		return p.Species == Streptocarpus && p.Dealt.Bin == first.Dealt.Bin && p.Medium != first.Medium
	})[0]
	w.Truth.Labels = [2]string{first.Code, second.Code}

	clear(taken) // variegation is lost with no regard to anything else
	for _, p := range choose(Reversions, func(p *Plant) bool { return p.Species == peperomia && !p.Lost() }) {
		p.Reverted = true
	}
}
