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

// overUnits is a factor over its used levels, whose number is that of the units.
func overUnits(f model.Factor) model.Factor {
	used := model.Factor{Name: f.Name, Of: make([]int, len(f.Of))}
	at := make([]int, len(f.Levels)) // of each level among the used ones, plus one
	for _, l := range f.Of {
		at[l] = 1
	}
	for l, seen := range at {
		if seen > 0 {
			used.Levels = append(used.Levels, f.Levels[l])
			at[l] = len(used.Levels)
		}
	}
	for i, l := range f.Of {
		used.Of[i] = at[l] - 1
	}
	return used
}
