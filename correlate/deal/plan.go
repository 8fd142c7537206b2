package deal

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// SetPer is what gets a treatment as a whole and is its replicate.
type SetPer string

// What a treatment may be set per.
const (
	PerPlant     SetPer = "plant"
	PerBin       SetPer = "bin"
	PerReservoir SetPer = "reservoir"
	Given        SetPer = "given" // the plant came with it (cultivar): never dealt
)

// Treatment is a treatment to be dealt.
type Treatment struct {
	Name   string   `json:"name"`
	Levels []string `json:"levels"`
	SetPer SetPer   `json:"set_per"`

	// OnlyBins names the bins that can have a level, for treatments set per bin; any
	// bin can have a level that is not named.
	OnlyBins map[string][]string `json:"only_bins,omitempty"`
}

// Cell is a position that a plant may get.
type Cell struct {
	Row, Column int
	Light       float64 // relative or absolute; NaN where not known
	Sensor      bool    // stays free where there is room
}

// Bin is a bin with its positions.
type Bin struct {
	Name, Block, Reservoir string
	Cells                  []Cell
}

// Plant is a plant to be placed.
type Plant struct {
	Code  string
	Group string  // the value of analyse_by; groups share the bins but are dealt apart
	Start float64 // starting size; NaN where not known
	Guard bool    // stands on the rim and gets no treatment
}

// Plan is what is to be laid out.
type Plan struct {
	Bins       []Bin
	Plants     []Plant
	Treatments []Treatment
}

// check finds what makes a plan impossible.
func (p Plan) check() error {
	room := 0
	for _, b := range p.Bins {
		room += len(b.Cells)
	}
	if len(p.Plants) == 0 {
		return fmt.Errorf("there are no plants to lay out: list them in plants.csv")
	}
	if room < len(p.Plants) {
		return fmt.Errorf("%d plants do not fit on %d positions: add bins, rows or columns in trial.toml or take plants out of plants.csv", len(p.Plants), room)
	}
	seen := map[string]bool{}
	for _, plant := range p.Plants {
		if seen[plant.Code] {
			return fmt.Errorf("plant %q is listed twice in plants.csv: give every plant a code of its own", plant.Code)
		}
		seen[plant.Code] = true
	}
	for _, t := range p.Treatments {
		if len(t.Levels) < 2 {
			return fmt.Errorf("treatment %q has fewer than two levels: there is nothing to deal", t.Name)
		}
		if err := p.checkTies(t); err != nil {
			return err
		}
		if t.SetPer != PerReservoir {
			continue
		}
		for _, b := range p.Bins {
			if b.Reservoir == "" {
				return fmt.Errorf("treatment %q is set per reservoir but bin %q names none: add reservoir to [[bin]]", t.Name, b.Name)
			}
		}
	}
	return nil
}

// path orders a bin's cells so that neighbours in the order are alike: by light
// where every cell's is known, else around the rim and then through the inner
// rows, to and fro.
func path(cells []Cell) (order []int, byLight bool) {
	order = make([]int, len(cells))
	for i := range order {
		order[i] = i
	}
	byLight = len(cells) > 0 && !slices.ContainsFunc(cells, func(c Cell) bool { return math.IsNaN(c.Light) })
	if byLight {
		slices.SortStableFunc(order, func(a, b int) int {
			switch {
			case cells[a].Light < cells[b].Light:
				return -1
			case cells[a].Light > cells[b].Light:
				return 1
			}
			return 0
		})
		return order, true
	}
	r := rimOf(cells)
	slices.SortStableFunc(order, func(a, b int) int { return r.rank(cells[a]) - r.rank(cells[b]) })
	return order, false
}

// rim is the rectangle that a bin's cells span.
type rim struct{ top, bottom, left, right int }

func rimOf(cells []Cell) rim {
	r := rim{math.MaxInt, math.MinInt, math.MaxInt, math.MinInt}
	for _, c := range cells {
		r = rim{min(r.top, c.Row), max(r.bottom, c.Row), min(r.left, c.Column), max(r.right, c.Column)}
	}
	return r
}

func (r rim) edge(c Cell) bool {
	return c.Row == r.top || c.Row == r.bottom || c.Column == r.left || c.Column == r.right
}

func (r rim) corner(c Cell) bool {
	return (c.Row == r.top || c.Row == r.bottom) && (c.Column == r.left || c.Column == r.right)
}

// rank is a cell's place on the way around the rim and through the inner rows.
func (r rim) rank(c Cell) int {
	height, width := r.bottom-r.top, r.right-r.left
	row, column := c.Row-r.top, c.Column-r.left
	switch {
	case row == 0:
		return column
	case column == width:
		return width + row
	case row == height:
		return width + height + (width - column)
	case column == 0:
		return 2*width + height + (height - row)
	}
	inner := 2 * (width + height)
	if row%2 == 0 {
		column = width - column
	}
	return inner + row*(width+1) + column
}

// spread shares each group's plants among bins with the given room, as evenly
// as the room allows; earlier bins get what is left over.
func spread(groups []int, room []int) [][]int {
	room = slices.Clone(room)
	shares := make([][]int, len(groups))
	for g, n := range groups {
		shares[g] = make([]int, len(room))
		for range n {
			best := -1
			for b, free := range room {
				if free > 0 && (best < 0 || shares[g][b] < shares[g][best]) {
					best = b
				}
			}
			shares[g][best]++
			room[best]--
		}
	}
	return shares
}

// words joins names for people: "a, b and c".
func words(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}
