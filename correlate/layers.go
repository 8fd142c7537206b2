package correlate

import (
	"errors"

	"parstead/correlate/model"
)

// reservoir is the reservoirs over the sample's rows; nil where there are none.
func (s *sample) reservoir() *model.Factor {
	if s.in.Reservoir == nil {
		return nil
	}
	f := s.factor(*s.in.Reservoir)
	return &f
}

// isLight tells whether an error is that light cannot be told apart from what
// else is in the model.
func isLight(err error) bool {
	var c *model.CollinearError
	return errors.As(err, &c) && c.Column.Term == model.LightTerm
}

// over is a factor's used levels as rows.
type over struct {
	factor model.Factor // with its used levels only
	first  []int        // a row of each level
}

func overUnits(f model.Factor) over {
	first := make([]int, len(f.Levels)) // a row of each level, plus one
	for i, l := range f.Of {
		if first[l] == 0 {
			first[l] = i + 1
		}
	}
	o := over{factor: model.Factor{Name: f.Name, Of: make([]int, len(f.Of))}}
	at := make([]int, len(f.Levels))
	for l, row := range first {
		if row > 0 {
			at[l] = len(o.first)
			o.first = append(o.first, row-1)
			o.factor.Levels = append(o.factor.Levels, f.Levels[l])
		}
	}
	for i, l := range f.Of {
		o.factor.Of[i] = at[l]
	}
	return o
}

// pick is another factor over the units.
func (o over) pick(f model.Factor) model.Factor {
	of := make([]int, len(o.first))
	for u, row := range o.first {
		of[u] = f.Of[row]
	}
	return model.Factor{Name: f.Name, Levels: f.Levels, Of: of}
}
