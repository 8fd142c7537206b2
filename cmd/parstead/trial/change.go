package trial

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"parstead/cmd/parstead/cells"
)

// Change is a line to add to counts or moves, or cells to set in a plant's line
// of harvest. One of its cells is under "plant". A line of harvest in which a
// change leaves nothing but the plant's code goes: it would tell of a harvest.
type Change struct {
	Sheet string `json:"sheet"`
	Cells []Set  `json:"cells"`
}

// Set is a value under a heading.
type Set struct {
	Heading string `json:"heading"`
	Value   string `json:"value"`            // a number has a decimal point
	Before  string `json:"before,omitempty"` // what stood there, as it stood

	between []string // values that merged changes set before this one
}

// value tells numbers from what only looks like one.
func (s Set) value() cells.Value {
	return cells.Value{Text: s.Value, Number: fold(s.Heading) != "plant" && cells.IsNumber(s.Value)}
}

// Plant is the code of the plant that the change is about.
func (c Change) Plant() string {
	for _, s := range c.Cells {
		if fold(s.Heading) == "plant" {
			return s.Value
		}
	}
	return ""
}

// Merge puts the changes of each plant's line of harvest into one, as if only the
// last value of each cell had been set. Lines to add stay as they are.
func Merge(changes []Change) []Change {
	var merged []Change
	of := map[string]int{} // by plant
	for _, c := range changes {
		i, known := of[c.Plant()]
		if !c.PerPlant() || !known {
			if c.PerPlant() {
				of[c.Plant()] = len(merged)
			}
			merged = append(merged, Change{c.Sheet, slices.Clone(c.Cells)})
			continue
		}
		cells := merged[i].Cells
		for _, s := range c.Cells {
			j := slices.IndexFunc(cells, func(o Set) bool { return fold(o.Heading) == fold(s.Heading) })
			if j < 0 {
				cells = append(cells, s)
			} else {
				cells[j].between = append(cells[j].between, cells[j].Value)
				cells[j].Value = s.Value
			}
		}
		merged[i].Cells = cells
	}
	return merged
}

// PerPlant tells whether the change is made in a plant's own line of its sheet.
func (c Change) PerPlant() bool {
	k := kindOfSheet(c.Sheet)
	return k != nil && k.entry.perPlant
}

// Says tells what changes, in words for the log.
func (c Change) Says() string {
	values := map[string]string{}
	var parts []string
	for _, s := range c.Cells {
		values[s.Heading] = s.Value
		switch {
		case s.Heading == "plant":
		case s.Before != "":
			parts = append(parts, fmt.Sprintf("%s %s, was %s", s.Heading, cmp.Or(s.Value, "cleared"), s.Before))
		case s.Value != "":
			parts = append(parts, s.Heading+" "+s.Value)
		}
	}
	if k := kindOfSheet(c.Sheet); k != nil && k.entry.says != nil {
		return k.entry.says(values)
	}
	return strings.Join(parts, ", ")
}

// apply changes the sheet.
func (c Change) apply(text cells.Draft) (made Change, err error) {
	made = Change{c.Sheet, slices.Clone(c.Cells)}
	if c.clears() && c.row(text.Rows()) < 0 {
		return made, nil
	}
	for _, s := range c.Cells {
		if !hasHeading(text.Rows()[0], s.Heading) {
			if err := text.AddHeading(s.Heading); err != nil {
				return made, err
			}
		}
	}
	rows := text.Rows()
	headings := rows[0]
	if row := c.row(rows); row >= 0 {
		for i, s := range c.Cells {
			column := columnOf(headings, s.Heading)
			before := at(rows[row], column)
			if same(before, s.Value) {
				continue
			}
			made.Cells[i].Before = before
			if err := text.Set(row, column, s.value()); err != nil {
				return made, err
			}
		}
		if c.clears() && bare(text.Rows()[row], columnOf(headings, "plant")) {
			return made, text.DropRow(row)
		}
		return made, nil
	}
	line := make([]cells.Value, len(headings))
	for _, s := range c.Cells {
		line[columnOf(headings, s.Heading)] = s.value()
	}
	return made, text.AddRow(line)
}

// clears tells whether the change only empties cells of harvest.
func (c Change) clears() bool {
	return c.PerPlant() && !slices.ContainsFunc(c.Cells, func(s Set) bool { return s.Value != "" && fold(s.Heading) != "plant" })
}

// bare tells whether a row has nothing but the plant's code.
func bare(row []string, plant int) bool {
	for i, text := range row {
		if i != plant && text != "" {
			return false
		}
	}
	return true
}

// row is the line of harvest that the change is about; -1 where a new one is due.
func (c Change) row(rows [][]string) int {
	if !c.PerPlant() {
		return -1
	}
	column := columnOf(rows[0], "plant")
	for i, row := range rows[1:] {
		if at(row, column) == c.Plant() {
			return i + 1
		}
	}
	return -1
}

// standing is how a sheet stands to a change.
type standing int

const (
	due         standing = iota // the sheet is as it was before the change
	written                     // the change is there
	overwritten                 // neither
)

func (c Change) stands(rows [][]string) standing {
	is := func(row []string, s Set, text string) bool {
		column := columnOf(rows[0], s.Heading)
		return same(at(row, column), text)
	}
	if !c.PerPlant() {
		for _, row := range rows[1:] {
			if !slices.ContainsFunc(c.Cells, func(s Set) bool { return !is(row, s, s.Value) }) {
				return written
			}
		}
		return due
	}
	i := c.row(rows)
	switch {
	case i < 0 && c.clears():
		return written // the line has gone with its last value
	case i < 0:
		return due
	}
	state := written
	for _, s := range c.Cells {
		switch {
		case is(rows[i], s, s.Value):
		case is(rows[i], s, s.Before), slices.ContainsFunc(s.between, func(text string) bool { return is(rows[i], s, text) }):
			state = due
		default:
			return overwritten
		}
	}
	return state
}

func columnOf(headings []string, heading string) int {
	return slices.IndexFunc(headings, func(h string) bool { return fold(h) == fold(heading) })
}

// at is a row's cell; blank where it has none.
func at(row []string, column int) string {
	if column < 0 || column >= len(row) {
		return ""
	}
	return row[column]
}

// same tells whether a cell holds a value, however the number is written.
func same(cell, value string) bool {
	return sameText(strings.Replace(cell, ",", ".", 1), value) || cell == value
}
