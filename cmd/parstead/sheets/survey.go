package sheets

import (
	"fmt"
	"strconv"

	"parstead/cmd/parstead/trial"
	"parstead/light"
)

// mostColumns is how many columns of a bin stand beside one another on paper with
// room to write in; wider bins are walked in strips.
const mostColumns = 10

// surveyPage is a grid of blanks for every strip of every bin.
type surveyPage struct {
	pageHead
	Reads, Unit string
	Strips      []strip
}

// strip is some neighbouring columns of a bin.
type strip struct {
	Bin         string
	Part, Parts int
	Columns     []int
	Rows        []stripRow
}

// stripRow is one row of a strip; Back tells that it is walked from the last column
// to the first.
type stripRow struct {
	Row   int
	Back  bool
	Cells []stop
}

// stop is one position of a walk.
type stop struct {
	No    int    // in the order of the walk through the bin, from 1
	Plant string // that stands there; "" for none
}

// Survey is a walk over every position of every bin: row by row, there and back, as
// a hand with a meter goes. reads is light.QuantityPPFD or light.QuantityLux.
func Survey(t *trial.Trial, reads light.Quantity, printed light.Date) *Sheet {
	page := surveyPage{
		pageHead: pageHead{
			Title: "Survey", Trial: t.Name, Printed: printed,
			Lead: []string{
				"Lamps on for half an hour. Hold the meter level at the height of the leaves, your shadow out of the light, and follow the numbers: along one row, back along the next.",
				"Write down when each bin began and ended: into the time of its first and last line of the CSV file, which has the same order. Lines of positions that were not read may stay blank, except a bin's first and last; of bins that were not walked, delete them.",
			},
			Safety: []string{
				"Lamps are on and water is near: touch no fitting or plug with wet hands, keep hands and meter out of the water, and switch off at the plug before reaching in deeper.",
				"Don't look into lamps; cover UV.",
			},
			Fields: [][]string{{"day"}, {"walked by"}, {"meter"}},
		},
		Reads: reads.String(), Unit: reads.Unit(),
	}
	s := &Sheet{Head: []string{"time", "bin", "row", "column", reads.String(), "meter", "remarks"}, template: "survey"}
	there := map[light.Position]string{}
	for i := range t.Plants {
		if p := &t.Plants[i]; !p.HasHarvest {
			there[standing(p)] = p.Code
		}
	}
	for _, b := range t.Rack.Bins {
		no := 0
		strips := stripsOf(b)
		for i := range strips {
			for j := range strips[i].Rows {
				r := &strips[i].Rows[j]
				r.Cells = make([]stop, len(strips[i].Columns))
				for k := range r.Cells {
					at := k
					if r.Back {
						at = len(r.Cells) - 1 - k
					}
					no++
					column := strips[i].Columns[at]
					r.Cells[at] = stop{no, there[light.Position{Bin: b.Name, Row: r.Row, Column: column}]}
					s.Rows = append(s.Rows, []string{"", b.Name, strconv.Itoa(r.Row), strconv.Itoa(column), "", "", ""})
				}
			}
		}
		page.Strips = append(page.Strips, strips...)
	}
	s.page = page
	return s
}

// stripsOf cuts a bin into strips of about one width.
func stripsOf(b light.Bin) []strip {
	n := (b.Columns + mostColumns - 1) / mostColumns
	var strips []strip
	for i := range n {
		part := strip{Bin: b.Name, Part: i + 1, Parts: n}
		for c := i*b.Columns/n + 1; c <= (i+1)*b.Columns/n; c++ {
			part.Columns = append(part.Columns, c)
		}
		for r := 1; r <= b.Rows; r++ {
			part.Rows = append(part.Rows, stripRow{Row: r, Back: (i*b.Rows+r)%2 == 0})
		}
		strips = append(strips, part)
	}
	return strips
}

// Across is how many cells a row has on paper, the row's number too.
func (s strip) Across() int { return len(s.Columns) + 1 }

// Words names the strip on paper.
func (s strip) Words() string {
	words := fmt.Sprintf("%s: %d rows, ", s.Bin, len(s.Rows))
	if s.Parts == 1 {
		return words + fmt.Sprintf("%d columns", len(s.Columns))
	}
	return words + fmt.Sprintf("columns %d to %d (strip %d of %d)", s.Columns[0], s.Columns[len(s.Columns)-1], s.Part, s.Parts)
}
