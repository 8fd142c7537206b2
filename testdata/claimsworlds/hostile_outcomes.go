package claimsworlds

import (
	"fmt"
	"strconv"
)

// hostileOutcomes: counts, events and losses at their borders.
func hostileOutcomes() []twist {
	return []twist{
		{"count-negative", "a leaf count is −2", "refused by row", func(s *sheet) { s.put("leaves", map[int]string{6: "-2"}) }},
		{"count-fraction", "leaf counts hold 3.5", "refused by row, or a caution", func(s *sheet) { s.put("leaves", map[int]string{6: "3.5"}) }},
		{"count-all-zero", "no plant has a leaf", "no claim, no ratio", func(s *sheet) { s.all("leaves", "0") }},
		{"count-all-one", "every plant has one leaf", "no claim from no spread", func(s *sheet) { s.all("leaves", "1") }},
		{"count-one-event", "one leaf in the whole trial", "no claim", func(s *sheet) { s.all("leaves", "0"); s.put("leaves", map[int]string{17: "1"}) }},
		{"count-huge", "counts of 1e15 and more", "no overflow", func(s *sheet) { s.scale("leaves", 1e15) }},
		{"count-one-huge", "one count is 1000000, the rest about 6", "one plant makes no claim", func(s *sheet) { s.put("leaves", map[int]string{4: "1000000"}) }},
		{"count-zero-level", "all bark counts are 0", "an open interval, no invented ratio", func(s *sheet) {
			s.set("leaves", func(i int) string {
				if s.rows[i][s.at("medium")] == "bark" {
					return "0"
				}
				return strconv.Itoa(4 + i%4)
			})
		}},
		{"count-constant-in-bins", "leaf counts are alike within each bin", "no claim of plant treatments; bins are the unit", func(s *sheet) {
			s.set("leaves", func(i int) string { return strconv.Itoa(3 + i/12) })
		}},
		{"measure-constant-in-bins", "mass is alike within each bin", "no claim of plant treatments; no zero residual as certainty", func(s *sheet) {
			s.set("mass", func(i int) string { return strconv.Itoa(30 + 4*(i/12)) })
		}},
	}
}

// hostileEvents: events at their borders.
func hostileEvents() []twist {
	return []twist{
		{"yes-no-all-yes", "all rotted", "no claim", func(s *sheet) { s.all("rot", "1") }},
		{"yes-no-all-no", "none rotted", "no claim; an upper limit at most", func(s *sheet) { s.all("rot", "0") }},
		{"yes-no-one-no", "one plant did not rot", "no claim", func(s *sheet) { s.all("rot", "1"); s.put("rot", map[int]string{13: "0"}) }},
		{"yes-no-words", "rot is written yes, No, Y, n, TRUE, false, 1, 0", "read rightly or refused by word", func(s *sheet) {
			words := []string{"yes", "No", "Y", "n", "TRUE", "false", "1", "0"}
			s.set("rot", func(i int) string { return words[i%8] })
		}},
		{"yes-no-numbers", "rot holds 0, 1 and 2", "refused by row", func(s *sheet) { s.put("rot", map[int]string{2: "2"}) }},
		{"yes-no-separated-by-treatment", "all coir rots, nothing else does", "claimed or not, but with open interval and no odds of 1e9", func(s *sheet) {
			s.set("rot", func(i int) string {
				if s.rows[i][s.at("medium")] == "coir" {
					return "1"
				}
				return "0"
			})
		}},
		{"yes-no-separated-by-light", "all below light 190 rot, none above", "no endless slope", func(s *sheet) {
			s.set("rot", func(i int) string {
				if s.number("light", i) < 190 {
					return "1"
				}
				return "0"
			})
		}},
		{"yes-no-constant-in-bins", "two bins rot wholly, two not at all", "no claim of plant treatments; 2 against 2 bins at most", func(s *sheet) {
			s.set("rot", func(i int) string { return strconv.Itoa((i / 12) % 2) })
		}},
	}
}

// hostileLosses: losses, and outcomes in wrong roles.
func hostileLosses() []twist {
	return []twist{
		{"kind-wrong", "the mass is declared a count, leaves yes_no", "refused plainly by column", func(s *sheet) { s.roles.Outcomes[0].Kind, s.roles.Outcomes[1].Kind = "count", "yes_no" }},
		{"lost-all", "every plant is marked lost", "says nothing is left", func(s *sheet) { s.all("lost", "1") }},
		{"lost-one-level", "all bark is lost", "bark compared in losses only", func(s *sheet) {
			s.set("lost", func(i int) string {
				if s.rows[i][s.at("medium")] == "bark" {
					return "1"
				}
				return "0"
			})
		}},
		{"lost-with-mass", "lost plants still carry a mass", "one rule, said aloud", func(s *sheet) { s.put("lost", map[int]string{1: "1", 2: "1", 3: "1", 14: "1"}) }},
		{"lost-words", "lost reads yes, no, blank, x, died", "read rightly or refused", func(s *sheet) {
			words := []string{"no", "", "x", "no", "died", "yes", "no", "no"}
			s.set("lost", func(i int) string { return words[i%8] })
		}},
		{"outcome-is-treatment", "the outcome is named as covariate as well", "refused: one column, two roles", func(s *sheet) { s.roles.Covariates = append(s.roles.Covariates, "mass") }},
		{"outcome-twice", "the same outcome is named twice", "family not counted twice, or refused", func(s *sheet) { s.roles.Outcomes = append(s.roles.Outcomes, s.roles.Outcomes[0]) }},
		{"outcome-copied", "a second outcome equals the first times two", "the same conclusion for both", func(s *sheet) {
			s.addColumn("mass2", func(i int) string { return fmt.Sprintf("%.2f", 2*s.number("mass", i)) })
			s.roles.Outcomes = append(s.roles.Outcomes, Outcome{Name: "mass2", Kind: "measure", Log: true})
		}},
		{"no-outcome", "no outcome is named", "refused plainly", func(s *sheet) { s.roles.Outcomes = nil }},
	}
}
