package claimsworlds

import (
	"math"
	"slices"
)

// measure records a mass: base + expectation + noise, raised to e if logged.
func (b *bench) measure(name string, base float64, logged bool, noise func(i int) float64) {
	y := make([]float64, b.n)
	for i := range y {
		y[i] = base + b.eta[i] + noise(i)
		if logged {
			y[i] = math.Exp(y[i])
		}
	}
	b.record(Outcome{Name: name, Kind: "measure", Log: logged}, y)
}

// normal is plant noise of one sd.
func (b *bench) normal(sd float64) func(int) float64 {
	return func(int) float64 { return sd * b.NormFloat64() }
}

// mass records the usual mass on the log scale: 40 g, plants sd 0.2.
func (b *bench) mass() { b.measure("mass", math.Log(40), true, b.normal(0.2)) }

// count records a count whose mean is base times e to the expectation.
func (b *bench) count(name string, base float64, draw func(i int, mean float64) float64) {
	y := make([]float64, b.n)
	for i := range y {
		y[i] = draw(i, base*math.Exp(b.eta[i]))
	}
	b.record(Outcome{Name: name, Kind: "count"}, y)
}

// yesNo records an event with log odds base + expectation.
func (b *bench) yesNo(name string, base float64) {
	y := make([]float64, b.n)
	for i := range y {
		y[i] = b.event(base + b.eta[i])
	}
	b.record(Outcome{Name: name, Kind: "yes_no"}, y)
}

func (b *bench) record(o Outcome, y []float64) {
	b.roles.Outcomes = append(b.roles.Outcomes, o)
	b.outcomeColumns[o.Name] = true
	b.columns = append(b.columns, Column{Name: o.Name, Numbers: y})
	b.hide(o.Name+"_all", y)
	b.hide(o.Name+"_eta", b.eta)
	b.hide(o.Name+"_nuisance", b.nuisance)
}

func (b *bench) hide(name string, x []float64) {
	b.hidden = append(b.hidden, Column{Name: name, Numbers: slices.Clone(x)})
}

// covariate puts a column of numbers known before the treatments began.
func (b *bench) covariate(name string, x []float64) {
	b.columns = append(b.columns, Column{Name: name, Numbers: x})
	b.roles.Covariates = append(b.roles.Covariates, name)
}

// lose lets plants die, each with its own log odds; losses are an outcome too.
func (b *bench) lose(logOdds func(i int) float64) {
	y := make([]float64, b.n)
	for i := range y {
		y[i] = b.event(logOdds(i))
		b.lost[i] = y[i] == 1
	}
	b.roles.Outcomes = append(b.roles.Outcomes, Outcome{Name: "lost", Kind: "yes_no"})
	b.hide("lost_all", y)
}

// trial closes the bench: columns in the usual order, lost plants blanked.
func (b *bench) trial() Trial {
	b.roles.Plant, b.roles.Bin, b.roles.Block = "plant", "bin", "shelf"
	b.roles.Row, b.roles.Column = "row", "column"
	table := []Column{
		{Name: "plant", Labels: names("P", count(b.n))},
		{Name: "bin", Labels: names("B", b.bin)},
		{Name: "shelf", Labels: names("S", b.shelf)},
		{Name: "row", Numbers: floats(b.row)},
		{Name: "column", Numbers: floats(b.col)},
	}
	if !b.hideLight {
		b.roles.Light = "light"
		table = append(table, Column{Name: "light", Numbers: b.light})
	} else {
		b.hide("light", b.light)
	}
	for _, c := range b.columns {
		if b.outcomeColumns[c.Name] {
			c.Numbers = slices.Clone(c.Numbers)
			for i := range c.Numbers {
				if b.lost[i] && !b.keepsLost[c.Name] {
					c.Numbers[i] = math.NaN()
				}
			}
		}
		table = append(table, c)
	}
	lost := make([]float64, b.n)
	for i := range lost {
		if b.lost[i] {
			lost[i] = 1
		}
	}
	b.roles.Lost = "lost"
	table = append(table, Column{Name: "lost", Numbers: lost})
	return Trial{Table: table, Roles: b.roles, Realised: b.realised, Hidden: b.hidden}
}

func count(n int) []int {
	x := make([]int, n)
	for i := range x {
		x[i] = i
	}
	return x
}
