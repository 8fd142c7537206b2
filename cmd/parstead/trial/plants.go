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

// plantRow is a plant while its sheets are read.
type plantRow struct {
	Plant
	at     place           // its line in layout.csv, else in plants.csv
	cells  map[string]cell // by folded heading
	leaves time.Time       // from when another plant may have its place
	moves  []plantMove     // in order of time
	stray  bool            // whether plants.csv is there and has no such plant, which is told
}

// roster is every plant by its code, and the columns that are known of plants.
type roster struct {
	plants   map[string]*plantRow
	order    []string          // codes: as in layout.csv, else as in plants.csv
	source   string            // the sheet that order comes from
	headings map[string]string // by folded heading, as Plant.Columns has it
	columns  []string          // headings in order of appearance

	came       *sheet // plants.csv; nil where there is none
	incomplete bool   // whether a sheet of plants could not be read
}

// plantsSheet tells which plants came; layoutSheet where they were dealt to, and
// with which levels.
var (
	plantsSheet = sheetKind{
		name: "plants", needed: []string{"plant"}, rests: 2,
		read: func(l *loader, s *sheet, broken bool) {
			l.roster = roster{plants: map[string]*plantRow{}, headings: l.declaredHeadings(), came: s, incomplete: broken}
		},
	}
	layoutSheet = sheetKind{
		name: "layout", needed: []string{"plant", "bin", "row", "column"}, rests: 3,
		read: func(l *loader, s *sheet, broken bool) {
			l.incomplete = l.incomplete || broken
			l.readPlants(l.came, s)
			l.checkTreatments()
			l.checkSplit()
		},
	}
)

// readPlants reads both sheets of plants into one list; nil where one is not there.
func (l *loader) readPlants(came, placed *sheet) {
	for _, s := range []*sheet{came, placed} {
		if s != nil {
			l.addHeadings(s)
		}
	}
	if came != nil {
		l.source = came.file
		for i, code := range l.codes(came) {
			l.addPlant(came.rows[i], code)
		}
	}
	if placed != nil {
		l.Dealt = true
		l.placePlants(placed, came)
	}
	for _, code := range l.order {
		l.fillPlant(l.plants[code])
	}
	if (came != nil || placed != nil) && !l.incomplete {
		l.checkColumns(placed)
	}
}

// declaredHeadings are the columns that trial.toml names, by folded heading: a
// sheet may write them with other capitals.
func (l *loader) declaredHeadings() map[string]string {
	names := []string{l.AnalyseBy}
	for _, tr := range l.Treatments {
		names = append(names, tr.Name)
	}
	for _, o := range l.Outcomes {
		names = append(names, o.Start, o.Exposure)
		for column := range o.Only {
			names = append(names, column)
		}
	}
	headings := map[string]string{}
	for _, name := range names {
		if name != "" {
			headings[fold(name)] = name
		}
	}
	return headings
}

// addHeadings takes in the columns of a sheet of plants.
func (r *roster) addHeadings(s *sheet) {
	for _, h := range s.headings {
		folded := fold(h.text)
		if h.blank() {
			continue
		}
		if _, known := r.headings[folded]; !known {
			r.headings[folded] = h.text
		}
		if name := r.headings[folded]; !slices.Contains(r.columns, name) && !slices.Contains(layoutHeadings, folded) {
			r.columns = append(r.columns, name)
		}
	}
}

// addPlant adds a plant with the cells of its row; nil if the code is blank or
// taken.
func (l *loader) addPlant(r row, code string) *plantRow {
	if code == "" {
		return nil
	}
	if p := l.plants[code]; p != nil {
		l.fault(r.cell("plant").at, fmt.Sprintf("the plant %q is there twice: also in line %d", code, p.at.line), "give one another code, or remove a line")
		return nil
	}
	p := &plantRow{Plant: Plant{Code: code}, at: r.at, cells: map[string]cell{}}
	l.plants[code] = p
	l.order = append(l.order, code)
	l.takeCells(p, r)
	return p
}

// takeCells adds the row's cells to the plant. A column of both sheets must
// agree.
func (l *loader) takeCells(p *plantRow, r row) {
	for i, h := range r.sheet.headings {
		c := r.cells[i]
		if h.blank() || c.blank() {
			continue
		}
		folded := fold(h.text)
		if earlier, twice := p.cells[folded]; twice && folded != "plant" {
			if !sameText(earlier.point(), c.point()) {
				l.fault(c.at, fmt.Sprintf("%s of plant %s is %q here and %q in %s:%d", l.headings[folded], p.Code, c.text, earlier.text, earlier.at.file, earlier.at.line), "make the two agree, or remove the column here")
			}
			continue
		}
		p.cells[folded] = c
	}
}

// sameText tells whether two cells hold one value: 12.50 is 12.5.
func sameText(a, b string) bool {
	x, err := strconv.ParseFloat(a, 64)
	y, err2 := strconv.ParseFloat(b, 64)
	return a == b || err == nil && err2 == nil && x == y
}

// isNumeric tells whether trial.toml uses a column as a number.
func (l *loader) isNumeric(column string) bool {
	return slices.ContainsFunc(l.Outcomes, func(o Outcome) bool { return column != "" && (o.Start == column || o.Exposure == column) })
}

// placePlants reads the layout over the plants that came.
func (l *loader) placePlants(placed, came *sheet) {
	var order []string
	seen := map[string]bool{}
	for i, code := range l.codes(placed) {
		r := placed.rows[i]
		if code == "" {
			continue
		}
		p := l.plants[code]
		switch {
		case seen[code]:
			l.fault(r.cell("plant").at, fmt.Sprintf("the plant %q is there twice: also in line %d", code, p.at.line), "give one another code, or remove a line")
			continue
		case p != nil:
			p.at = r.at
			l.takeCells(p, r)
		default:
			if came != nil { // else the layout alone says which plants there are
				l.fault(r.cell("plant").at, fmt.Sprintf("%s has no plant %q", came.file, code), l.mendCode(code, came.file))
			}
			p = l.addPlant(r, code)
			p.stray = came != nil
		}
		order, seen[code] = append(order, code), true
		p.Place, _ = l.position(r)
		p.Guard, _ = l.yesNo(r.cell("guard"), "guard")
	}
	for _, code := range l.order {
		if !seen[code] {
			l.warn(l.plants[code].at, fmt.Sprintf("the plant %q has no place in %s, so it takes no part", code, placed.file), "add it to the layout, or remove it here")
			delete(l.plants, code)
		}
	}
	l.order, l.source = order, placed.file
}

// fillPlant hands the plant its columns and treatments.
func (l *loader) fillPlant(p *plantRow) {
	p.Columns, p.Treatments = map[string]string{}, map[string]string{}
	if c, ok := p.cells["guard"]; ok { // plants.csv may say so before plants are dealt
		p.Guard, _ = l.yesNo(c, "guard")
	}
	for folded, c := range p.cells {
		if slices.Contains(layoutHeadings, folded) {
			continue
		}
		name := l.headings[folded]
		p.Columns[name] = c.text
		if l.isNumeric(name) {
			p.Columns[name] = c.point()
		}
	}
	for i, tr := range l.Treatments {
		c, ok := p.cells[fold(tr.Name)]
		if tr.Name == "" || !ok {
			continue
		}
		if len(tr.Levels) > 0 && !slices.Contains(tr.Levels, c.text) {
			mend := meant(c.text, tr.Levels, "write %s", fmt.Sprintf("write one of %s, or add it to levels in line %d of %s", strings.Join(tr.Levels, ", "), l.doc.at("treatment[%d].levels", i).line, configFile))
			l.fault(c.at, fmt.Sprintf("%s has no level %q (plant %s)", tr.Name, c.text, p.Code), mend)
			continue
		}
		p.Treatments[tr.Name] = c.text
	}
	for _, o := range l.Outcomes {
		if c, ok := p.cells[fold(o.Start)]; ok && o.Start != "" {
			l.checkStart(p, o, c)
		}
	}
}

func (l *loader) checkStart(p *plantRow, o Outcome, c cell) {
	x, ok := l.number(c, fmt.Sprintf("%s of plant %s", o.Start, p.Code))
	if ok && o.Scale == analysis.Log && x <= 0 {
		l.fault(c.at, fmt.Sprintf("%s of plant %s is %v, and %s takes its logarithm", o.Start, p.Code, x, o.Name), `correct it, clear the cell if it was not weighed, or set scale = "natural"`)
	}
}

// checkColumns complains of columns that trial.toml names and no sheet has.
func (l *loader) checkColumns(placed *sheet) {
	missing := func(name, path string, args ...any) {
		if name == "" || slices.Contains(l.columns, name) {
			return
		}
		mend := "add the column to plants.csv, or correct the name"
		mend = meant(name, l.columns, "write %q, or "+mend, mend)
		l.fault(l.doc.at(path, args...), fmt.Sprintf("no sheet of plants has a column %q", name), mend)
	}
	missing(l.AnalyseBy, "trial.analyse_by")
	for i, o := range l.Outcomes {
		missing(o.Start, "outcome[%d].start", i)
		for column := range o.Only {
			missing(column, "outcome[%d].only.%s", i, column)
		}
	}
	for i, tr := range l.Treatments {
		switch {
		case tr.SetPer == analysis.Given:
			missing(tr.Name, "treatment[%d].name", i)
		case placed != nil && tr.Name != "" && !slices.Contains(l.columns, tr.Name):
			mend := fmt.Sprintf("add the column with each plant's %s, or remove the treatment", tr.Name)
			if near, ok := nearest(tr.Name, l.columns); ok {
				mend = fmt.Sprintf("call the column %q %s, or %s", near, tr.Name, mend)
			}
			l.fault(place{placed.file, 1, 1}, fmt.Sprintf("there is no column for the treatment %q of %s:%d", tr.Name, configFile, l.doc.at("treatment[%d]", i).line), mend)
		}
	}
}

// checkTreatments looks at who got what: every plant something, every level a
// plant (asked only once every plant has one), and the same within what got it as a whole.
func (l *loader) checkTreatments() {
	for i, tr := range l.Treatments {
		if tr.Name == "" || l.incomplete || !slices.Contains(l.columns, tr.Name) || !l.Dealt && tr.SetPer != analysis.Given {
			continue
		}
		used, lacking := map[string]bool{}, false
		for _, code := range l.order {
			p := l.plants[code]
			c, filled := p.cells[fold(tr.Name)]
			lacking = lacking || !filled && !p.Guard
			if !filled && !p.Guard && !p.stray {
				l.fault(p.at, fmt.Sprintf("the plant %s has no %s", code, tr.Name), "write its level, or yes under guard")
			}
			used[c.text] = used[c.text] || !p.Guard
		}
		for j, level := range tr.Levels {
			if !used[level] && !lacking {
				l.fault(l.doc.at("treatment[%d].levels[%d]", i, j), fmt.Sprintf("no plant has the level %q of %s", level, tr.Name), "remove the level, or correct it here or in the sheet")
			}
		}
		switch tr.SetPer {
		case analysis.PerBin:
			l.checkWhole(tr, "bin", func(p light.Position) string { return p.Bin })
			l.checkTies(i, tr)
		case analysis.PerReservoir:
			l.checkReservoirs(tr)
			l.checkWhole(tr, "reservoir", func(p light.Position) string {
				bin, _ := l.Rack.Bin(p.Bin)
				return bin.Reservoir
			})
		}
	}
}

// checkWhole complains of plants that got another level than most plants of what
// the treatment is set per.
func (l *loader) checkWhole(tr plan.Treatment, what string, unit func(light.Position) string) {
	shares := map[string]map[string]int{} // plants by unit and level
	most := map[string]*plantRow{}        // a plant with the level that most of its unit have
	for _, code := range l.order {
		p := l.plants[code]
		level, name := p.Treatments[tr.Name], unit(p.Place)
		if level == "" || name == "" {
			continue
		}
		if shares[name] == nil {
			shares[name] = map[string]int{}
		}
		shares[name][level]++
		if other := most[name]; other == nil || shares[name][level] > shares[name][other.Treatments[tr.Name]] {
			most[name] = p
		}
	}
	for _, code := range l.order {
		p := l.plants[code]
		level, name := p.Treatments[tr.Name], unit(p.Place)
		if other := most[name]; other != nil && level != "" && other.Treatments[tr.Name] != level {
			l.fault(p.cells[fold(tr.Name)].at, fmt.Sprintf("%s is set per %s, but in %q the plant %s has %s and %s has %s",
				tr.Name, what, name, other.Code, other.Treatments[tr.Name], p.Code, level), fmt.Sprintf(`give the %s one level, or write set_per = "plant"`, what))
		}
	}
}

func (l *loader) checkReservoirs(tr plan.Treatment) {
	for i, bin := range l.Rack.Bins {
		stands := slices.ContainsFunc(l.order, func(code string) bool { return l.plants[code].Place.Bin == bin.Name })
		if bin.Reservoir == "" && bin.Name != "" && stands {
			l.fault(l.doc.at("bin[%d]", i), fmt.Sprintf("%s is set per reservoir, and the bin %q names none", tr.Name, bin.Name), "add reservoir = ...")
		}
	}
}

// checkSplit complains of plants without a value in the column that results are
// split by.
func (l *loader) checkSplit() {
	if l.AnalyseBy == "" || !slices.Contains(l.columns, l.AnalyseBy) {
		return
	}
	for _, code := range l.order {
		if p := l.plants[code]; p.Columns[l.AnalyseBy] == "" && !p.Guard && !p.stray {
			l.fault(p.at, fmt.Sprintf("the plant %s has no %s, by which results are split", code, l.AnalyseBy), "fill the cell, or write yes under guard")
		}
	}
}
