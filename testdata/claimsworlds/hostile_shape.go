package claimsworlds

import (
	"fmt"
	"slices"
	"strconv"
)

// hostileShape: too few rows, too many, too alike.
func hostileShape() []twist {
	first := func(n int) func(*sheet) { return func(s *sheet) { s.rows = s.rows[:n] } }
	return []twist{
		{"rows-one", "one plant", "nothing to compare", first(1)},
		{"rows-two", "two plants", "no claim", first(2)},
		{"rows-three", "three plants", "no claim", first(3)},
		{"rows-five-of-one-bin", "five plants of one bin", "no claim on covers", first(5)},
		{"rows-identical-10000", "10,000 rows that are one and the same", "a caution; no claim; soon done", func(s *sheet) {
			row := s.rows[0]
			s.rows = nil
			for range 10000 {
				s.rows = append(s.rows, row)
			}
		}},
		{"rows-copied-50-times", "the trial pasted 50 times over, same plant names", "the repeated plant names are pointed out", func(s *sheet) {
			one := s.rows
			for range 49 {
				s.rows = append(s.rows, one...)
			}
		}},
		{"rows-one-plant-twice", "one plant stands twice, with two masses", "pointed out by name", func(s *sheet) {
			again := slices.Clone(s.rows[7])
			again[s.at("mass")] = "77"
			s.rows = append(s.rows, again)
		}},
		{"rows-same-place", "two plants in one place of a bin", "pointed out", func(s *sheet) {
			s.put("row", map[int]string{1: "1"})
			s.put("column", map[int]string{1: "1"})
		}},
		{"rows-large-20000", "20,000 plants in 400 bins", "soon done, or a plain limit", func(s *sheet) { *s = *goodSheet(400, 5, 10) }},
	}
}

// hostileBins: bins and columns of odd number.
func hostileBins() []twist {
	return []twist{
		{"bins-of-one", "every bin holds one plant", "bin and plant are one; no cover claim with plants inside bins", func(s *sheet) {
			s.set("bin", func(i int) string { return fmt.Sprintf("B%d", i+1) })
		}},
		{"bins-one", "all plants in one bin", "no claim on covers", func(s *sheet) { s.all("bin", "B1"); s.all("shelf", "S1") }},
		{"bins-very-unequal", "one bin of 45 plants, three of one", "no claim resting on single plants' bins", func(s *sheet) {
			s.set("bin", func(i int) string {
				if i < 45 {
					return "B1"
				}
				return fmt.Sprintf("B%d", i-43)
			})
			s.set("cover", func(i int) string { return map[bool]string{true: "open", false: "lid"}[i < 46] })
		}},
		{"columns-only-outcome", "only plant and mass; no other role", "says there is nothing to compare", func(s *sheet) {
			for _, name := range []string{"bin", "shelf", "row", "column", "light", "medium", "cover", "start", "leaves", "rot", "lost"} {
				s.drop(name)
			}
			s.roles = Roles{Plant: "plant", Outcomes: []Outcome{{Name: "mass", Kind: "measure", Log: true}}}
		}},
		{"columns-missing-role", "the roles name a column that is not there", "refused by name", func(s *sheet) { s.drop("medium") }},
	}
}

// hostileCopies: columns that say the same.
func hostileCopies() []twist {
	return []twist{
		{"columns-300-covariates", "300 covariates for 48 plants", "refused or limited plainly; no perfect fit", func(s *sheet) {
			c := newChance(5)
			for k := range 300 {
				name := fmt.Sprintf("z%d", k)
				s.addColumn(name, func(int) string { return fmt.Sprintf("%.3f", c.NormFloat64()) })
				s.roles.Covariates = append(s.roles.Covariates, name)
			}
		}},
		{"columns-copied", "the covariate stands twice under two names", "one is left out and said so", func(s *sheet) {
			s.addColumn("start2", func(i int) string { return s.rows[i][s.at("start")] })
			s.roles.Covariates = append(s.roles.Covariates, "start2")
		}},
		{"columns-shifted", "a second covariate is the first in other units (×1000 + 7)", "one is left out; not both judged as nothing", func(s *sheet) {
			s.addColumn("start_mg", func(i int) string { return strconv.FormatFloat(1000*s.number("start", i)+7, 'f', 3, 64) })
			s.roles.Covariates = append(s.roles.Covariates, "start_mg")
		}},
		{"columns-covariate-is-light", "the covariate is the light once more", "said to be one column", func(s *sheet) {
			s.set("start", func(i int) string { return s.rows[i][s.at("light")] })
		}},
		{"columns-covariate-is-outcome", "the covariate is the mass itself under another name", "a perfect fit brings a caution", func(s *sheet) {
			s.set("start", func(i int) string { return s.rows[i][s.at("mass")] })
		}},
		{"columns-covariate-words", "the covariate holds words", "taken as labels or refused", func(s *sheet) {
			s.set("start", func(i int) string { return []string{"small", "big"}[i%2] })
		}},
	}
}
