package trial

import (
	"fmt"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/light"
)

// Causes are the words for why a plant was lost.
var Causes = []string{"rot", "pest", "dried", "accident", "unknown"}

// harvestSheet holds what was weighed and counted at the end.
var harvestSheet = sheetKind{
	name: HarvestSheet, needed: []string{"plant"}, known: (*loader).harvestColumns,
	read: (*loader).readHarvest, rests: 4,
	entry: entryKind{headings: []string{"plant", "date", "status", "lost_on", "cause"}, perPlant: true},
}

func (l *loader) harvestColumns() []string {
	known := slices.Clone(harvestHeadings[1:]) // all but plant
	for _, o := range l.Outcomes {
		known = append(known, o.Name)
		for _, ending := range pairHeadings {
			known = append(known, o.Name+ending)
		}
		if o.Exposure != "" {
			known = append(known, o.Exposure)
		}
	}
	return known
}

func (l *loader) readHarvest(s *sheet, _ bool) {
	for _, code := range l.order {
		l.plants[code].Date = l.Rack.Ends
	}
	if s != nil {
		l.harvest = s
		for i, o := range l.Outcomes {
			l.Outcomes[i].Gross = s.has(o.Name+"_gross") && s.has(o.Name+"_tare") && !s.has(o.Name)
		}
		for i, code := range l.codes(s) {
			p := l.knownPlant(s.rows[i], code)
			if p == nil {
				continue
			}
			if p.HasHarvest {
				l.fault(s.rows[i].cell("plant").at, fmt.Sprintf("the plant %q is there twice", code), "keep one line for each plant")
				continue
			}
			p.HasHarvest = true
			l.readFate(p, s.rows[i])
			l.readValues(p, s.rows[i])
		}
	}
	l.checkExposures()
	for _, code := range l.order {
		p := l.plants[code]
		p.leaves = l.Rack.Trial().Until
		if l.hasDays() && p.Date != l.Rack.Ends {
			p.leaves = l.Rack.Day(p.Date).From
		}
	}
}

// readFate reads what became of a plant, and when.
func (l *loader) readFate(p *plantRow, r row) {
	understood := true
	if c := r.cell("status"); !c.blank() {
		if p.Status, understood = analysis.ParseStatus(c.text); !understood {
			l.fault(c.at, fmt.Sprintf("the status of plant %s can't be %q", p.Code, c.text), "write harvested, lost or withdrawn")
		}
	}
	if date, ok := l.trialDay(r.cell("date"), "date"); ok {
		p.Date = date
	}
	p.LostOn, _ = l.trialDay(r.cell("lost_on"), "lost_on")
	if !p.LostOn.IsZero() && p.Status == analysis.Lost {
		p.Date = p.LostOn
	}
	p.Cause = strings.ToLower(r.cell("cause").text)
	if c := r.cell("cause"); p.Cause != "" && !slices.Contains(Causes, p.Cause) {
		l.fault(c.at, fmt.Sprintf("the cause of plant %s can't be %q", p.Code, c.text), "write one of "+strings.Join(Causes, ", "))
	}
	for _, heading := range []string{"lost_on", "cause"} {
		if c := r.cell(heading); !c.blank() && understood && p.Status != analysis.Lost {
			l.fault(c.at, fmt.Sprintf("the plant %s has a %s but was %s, not lost", p.Code, heading, p.Status), "write lost under status, or clear the cell")
		}
	}
	reason := r.cell("leave_out")
	switch strings.ToLower(reason.text) {
	case "no", "n", "0", "false":
	case "yes", "y", "1", "true":
		l.fault(reason.at, fmt.Sprintf("plant %s is to be left out without a reason", p.Code), "write why, in a few words")
	default:
		p.LeaveOut = reason.text
	}
}

// trialDay reads a day of the trial.
func (l *loader) trialDay(c cell, what string) (d light.Date, ok bool) {
	d, ok = l.date(c, what)
	if ok && l.hasDays() && (d.Before(l.Rack.Starts) || l.Rack.Ends.Before(d)) {
		l.fault(c.at, fmt.Sprintf("%s %v lies outside the trial, %v to %v", what, d, l.Rack.Starts, l.Rack.Ends), "correct the date, or ends in "+configFile)
		return light.Date{}, false
	}
	return d, ok
}

// readValues reads a plant's outcomes. Those of a plant that was lost or
// withdrawn are missing, whatever stands in the cells.
func (l *loader) readValues(p *plantRow, r row) {
	p.Values = map[string]Cell{}
	for _, o := range l.Outcomes {
		if o.Name == "" {
			continue
		}
		value, at, ok := l.readNet(p, o, r)
		again, hasAgain := l.readValue(r.cell(o.Name+"_again"), o, p.Code)
		switch {
		case !ok && hasAgain:
			l.fault(r.cell(o.Name+"_again").at, fmt.Sprintf("plant %s has a second %s but no first", p.Code, o.Name), "write the first one too")
		case ok && p.Status != analysis.Harvested:
			shown := fmt.Sprint(value)
			if k, _ := kind.Find(o.Kind); k.Answers {
				shown = r.cell(o.Name).text
			}
			l.warn(at, fmt.Sprintf("plant %s was %s, so its %s is missing: the %s here is not used", p.Code, p.Status, o.Name, shown), "clear the cell, or correct status")
		case ok:
			p.Values[o.Name] = Cell{Value: value, Again: again, HasAgain: hasAgain}
		}
	}
}

// readNet reads an outcome as it stands, or as gross less tare.
func (l *loader) readNet(p *plantRow, o Outcome, r row) (value float64, at place, ok bool) {
	net, gross, tare := r.cell(o.Name), r.cell(o.Name+"_gross"), r.cell(o.Name+"_tare")
	if gross.blank() && tare.blank() {
		value, ok = l.readValue(net, o, p.Code)
		return value, net.at, ok
	}
	what := fmt.Sprintf("%s of plant %s", o.Name, p.Code)
	switch {
	case !net.blank():
		l.fault(net.at, what+" is there both net and gross", "clear one of the two")
		return 0, net.at, false
	case gross.blank():
		l.fault(tare.at, what+" has a tare but no gross", "write both, or neither")
		return 0, tare.at, false
	case tare.blank():
		l.fault(gross.at, what+" has a gross but no tare", "write both, or neither")
		return 0, gross.at, false
	}
	g, ok := l.number(gross, what+"_gross")
	t, ok2 := l.number(tare, what+"_tare")
	if !ok || !ok2 {
		return 0, gross.at, false
	}
	if g < t {
		l.fault(gross.at, fmt.Sprintf("%s weighs %v with the dish and the dish alone %v", what, g, t), "exchange the two, or correct one")
		return 0, gross.at, false
	}
	return g - t, gross.at, l.checkValue(g-t, gross.at, o, p.Code)
}

// readValue reads a cell as the outcome's kind has it.
func (l *loader) readValue(c cell, o Outcome, code string) (value float64, ok bool) {
	what := fmt.Sprintf("%s of plant %s", o.Name, code)
	if k, _ := kind.Find(o.Kind); k.Answers {
		yes, ok := l.yesNo(c, what)
		if yes {
			value = 1
		}
		return value, ok
	}
	value, ok = l.number(c, what)
	return value, ok && l.checkValue(value, c.at, o, code)
}

// checkValue complains of numbers that the outcome can't have.
func (l *loader) checkValue(x float64, at place, o Outcome, code string) bool {
	switch k, known := kind.Find(o.Kind); {
	case known && k.Refuses(x):
		l.fault(at, fmt.Sprintf("%s of plant %s is %v, and %s", o.Name, code, x, k.Values), "write "+k.Write+", or leave the cell blank")
		return false
	case o.Scale == analysis.Log && x <= 0:
		l.fault(at, fmt.Sprintf("%s of plant %s is %v, which has no logarithm", o.Name, code, x), `correct it; clear the cell if it was not weighed; write lost under status if the plant died; or set scale = "natural"`)
		return false
	}
	return true
}

// checkExposures hands the plants the exposures that stand in harvest.csv and
// complains of those that are not above zero.
func (l *loader) checkExposures() {
	seen := map[string]bool{}
	for i, o := range l.Outcomes {
		if o.Exposure == "" || seen[o.Exposure] || len(l.order) == 0 {
			continue
		}
		seen[o.Exposure] = true
		fromHarvest := l.harvest.has(o.Exposure)
		if !fromHarvest && !slices.Contains(l.columns, o.Exposure) {
			if l.harvest != nil {
				l.fault(l.doc.at("outcome[%d].exposure", i), fmt.Sprintf("neither %s nor the sheets of plants have a column %q", l.harvest.file, o.Exposure), "add the column, or remove exposure")
			}
			continue
		}
		if fromHarvest {
			l.takeExposures(o.Exposure)
		}
		for _, code := range l.order {
			c, ok := l.plants[code].cells[fold(o.Exposure)]
			if !ok {
				continue
			}
			x, ok := l.number(c, fmt.Sprintf("%s of plant %s", o.Exposure, code))
			if ok && x <= 0 {
				l.fault(c.at, fmt.Sprintf("%s of plant %s is %v, and an exposure is above 0", o.Exposure, code, x), "correct it, or clear the cell")
			}
		}
	}
}

func (l *loader) takeExposures(column string) {
	for _, r := range l.harvest.rows {
		p := l.plants[r.cell("plant").text]
		c := r.cell(column)
		if p == nil || c.blank() {
			continue
		}
		p.cells[fold(column)] = c
		p.Columns[column] = c.point()
	}
}
