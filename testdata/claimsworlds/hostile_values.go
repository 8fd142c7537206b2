package claimsworlds

import (
	"fmt"
	"strconv"
)

// hostileValues: numbers that are none, or too large, or too small.
func hostileValues() []twist {
	return []twist{
		{"value-nan-text", "a mass reads NaN", "treated as not recorded and said so, or refused by row", func(s *sheet) { s.put("mass", map[int]string{5: "NaN"}) }},
		{"value-inf-text", "a mass reads Inf, another -Infinity", "refused or left out by row", func(s *sheet) { s.put("mass", map[int]string{5: "Inf", 9: "-Infinity"}) }},
		{"value-blank", "three masses are blank, none is marked lost", "left out and counted", func(s *sheet) { s.put("mass", map[int]string{1: "", 7: " ", 20: "\t"}) }},
		{"value-na-words", "missing is written NA, n/a, -, ?, null, none", "left out or refused by row, never read as 0", func(s *sheet) {
			s.put("mass", map[int]string{1: "NA", 2: "n/a", 3: "-", 4: "?", 5: "null", 6: "none"})
		}},
		{"value-word", "a mass reads 'heavy'", "refused by row and column", func(s *sheet) { s.put("mass", map[int]string{11: "heavy"}) }},
		{"value-unit", "masses carry a unit: '41.2 g'", "refused plainly", func(s *sheet) {
			s.set("mass", func(i int) string { return fmt.Sprintf("%.1f g", s.number("mass", i)) })
		}},
		{"value-decimal-comma", "masses are written 41,2", "refused plainly, not read as 41 or 412", func(s *sheet) {
			s.set("mass", func(i int) string { v := s.number("mass", i); return fmt.Sprintf("%d,%d", int(v), int(v*10)%10) })
		}},
		{"value-thousands", "masses are written 1,041.20", "refused plainly", func(s *sheet) {
			s.set("mass", func(i int) string { return fmt.Sprintf("1,%06.2f", s.number("mass", i)) })
		}},
		{"value-hex-underscore", "masses read 0x1p5, 1_000 and +40", "refused, or read as a person would", func(s *sheet) { s.put("mass", map[int]string{0: "0x1p5", 1: "1_000", 2: "+40"}) }},
		{"value-unicode-minus", "a start mass has a true minus sign and a no-break space", "refused by row or read rightly", func(s *sheet) { s.put("start", map[int]string{3: "−2.5", 4: "8.1\u00a0"}) }},
	}
}

// hostileSizes: sizes at the border of arithmetic.
func hostileSizes() []twist {
	return []twist{
		{"value-huge", "all masses are 1e300 times larger", "same ratios as before, or a plain refusal", func(s *sheet) { s.scale("mass", 1e300) }},
		{"value-tiny", "all masses are 1e-300 of the usual", "same ratios as before, or a plain refusal", func(s *sheet) { s.scale("mass", 1e-300) }},
		{"value-huge-natural", "masses of 1e300 on the natural scale: squares overflow", "no infinity printed", func(s *sheet) { s.scale("mass", 1e300); s.roles.Outcomes[0].Log = false }},
		{"value-denormal", "masses near the smallest number there is", "no zero division", func(s *sheet) { s.scale("mass", 1e-322) }},
		{"value-overflow-text", "a mass reads 1e999", "refused by row", func(s *sheet) { s.put("mass", map[int]string{2: "1e999"}) }},
		{"value-far-offset", "masses are 1e12 plus some grams, natural scale", "differences are not lost in rounding", func(s *sheet) {
			s.roles.Outcomes[0].Log = false
			s.set("mass", func(i int) string { return strconv.FormatFloat(1e12+s.number("mass", i), 'f', 2, 64) })
		}},
		{"value-zero-mass-log", "two masses are 0, to be logged", "left out or refused by row, never log of 0", func(s *sheet) { s.put("mass", map[int]string{3: "0", 30: "0.00"}) }},
		{"value-negative-mass-log", "a mass is −3, to be logged", "refused by row", func(s *sheet) { s.put("mass", map[int]string{3: "-3"}) }},
		{"value-all-equal", "every mass is 40", "no claim, no zero-width interval as certainty", func(s *sheet) { s.all("mass", "40") }},
		{"value-all-but-one-equal", "every mass is 40 but one", "no claim", func(s *sheet) { s.all("mass", "40"); s.put("mass", map[int]string{8: "41"}) }},
		{"value-no-noise", "mass depends on medium exactly, without any spread", "no division by a zero residual; a caution", func(s *sheet) {
			s.set("mass", func(i int) string { return strconv.Itoa(30 + 5*len(s.rows[i][s.at("medium")])) })
		}},
		{"value-all-missing", "no mass is recorded at all", "says there is nothing to analyse", func(s *sheet) { s.all("mass", "") }},
		{"value-level-missing", "every coir plant lacks its mass", "coir is said to be without data, other pairs stay", func(s *sheet) {
			s.set("mass", func(i int) string {
				if s.rows[i][s.at("medium")] == "coir" {
					return ""
				}
				return fmt.Sprint(s.number("mass", i))
			})
		}},
	}
}

// hostileCovariates: light and covariates that say nothing.
func hostileCovariates() []twist {
	everyThird := func(column, text string) func(*sheet) {
		return func(s *sheet) {
			for i := 0; i < len(s.rows); i += 3 {
				s.put(column, map[int]string{i: text})
			}
		}
	}
	return []twist{
		{"value-third-missing-light", "every third plant lacks its light", "rows are left out of light questions only, counted", everyThird("light", "")},
		{"value-light-constant", "light is 200 everywhere", "no slope is stated, treatments stay", func(s *sheet) { s.all("light", "200") }},
		{"value-light-constant-in-bins", "light differs between bins only", "no slope within bins is stated", func(s *sheet) {
			s.set("light", func(i int) string { return strconv.Itoa(150 + 20*(i/12)) })
		}},
		{"value-light-zero-negative", "light is 0 for one and −5 for another", "a caution or refusal, no log of it", func(s *sheet) { s.put("light", map[int]string{0: "0", 1: "-5"}) }},
		{"value-covariate-constant", "the starting mass is 8 everywhere", "it is left out and said so", func(s *sheet) { s.all("start", "8.00") }},
		{"value-covariate-nearly-constant", "the starting mass is 8 but for one in the twelfth digit", "no slope from one plant's rounding", func(s *sheet) {
			s.all("start", "8")
			s.put("start", map[int]string{0: "8.000000000001"})
		}},
		{"value-covariate-missing", "the covariate is blank everywhere", "said so; not every row dropped in silence", func(s *sheet) { s.all("start", "") }},
	}
}
