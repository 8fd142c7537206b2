package light

import "fmt"

// Position is one place for a plant or a sensor: a cell of a bin's grid, rows
// and columns counted from 1. Row and Column zero stand for the bin as a whole.
type Position struct {
	Bin         string
	Row, Column int
}

// String writes the position for people: "upper, row 3, column 4".
func (p Position) String() string {
	if p.WholeBin() {
		return p.Bin
	}
	return fmt.Sprintf("%s, row %d, column %d", p.Bin, p.Row, p.Column)
}

// WholeBin tells whether the position is the bin as a whole.
func (p Position) WholeBin() bool { return p.Row == 0 && p.Column == 0 }

// Bin is one container on the rack with a grid of positions.
type Bin struct {
	Name             string
	Rows, Columns    int
	PitchRows        float64  // cm between neighbouring rows
	PitchColumns     float64  // cm between neighbouring columns
	Lamps            []string // names of the lamps over it
	Block            string   // bins that are alike; "" where none is named
	Reservoir        string   // "" where none is named
	TargetDLI        DLI      // what the grower means to give; 0 where not said
	WaterCM          float64  // depth of water over the plants; 0 where they stand in air
	Attenuation      float64  // of PPFD by that water, per metre; 0 where not said
	AttenuationError float64  // standard deviation of that, as a share
	Daylight         Daylight // whether sun reaches it
}

// Daylight is what the grower says of the sun over a bin.
type Daylight uint8

// What can be said of it.
const (
	DaylightNotSaid Daylight = iota // the readings may show it
	Sunlit
	Sunless
)

// Contains tells whether p is a cell of this bin's grid.
func (b Bin) Contains(p Position) bool {
	return p.Bin == b.Name && p.Row >= 1 && p.Row <= b.Rows && p.Column >= 1 && p.Column <= b.Columns
}

// Positions lists the cells of the grid by row, then column.
func (b Bin) Positions() []Position {
	cells := make([]Position, 0, b.Rows*b.Columns)
	for r := 1; r <= b.Rows; r++ {
		for c := 1; c <= b.Columns; c++ {
			cells = append(cells, Position{b.Name, r, c})
		}
	}
	return cells
}

// Index is the place of p in Positions.
func (b Bin) Index(p Position) int { return (p.Row-1)*b.Columns + p.Column - 1 }

// Edge tells whether p lies on the rim of the grid.
func (b Bin) Edge(p Position) bool {
	return p.Row == 1 || p.Row == b.Rows || p.Column == 1 || p.Column == b.Columns
}
