package claimsworlds

import (
	"fmt"
	"strconv"
)

// hostileDesign: treatments that cannot be told apart, or not be compared.
func hostileDesign() []twist {
	cycle := func(n int, prefix string) func(*sheet) {
		return func(s *sheet) {
			s.set("medium", func(i int) string { return fmt.Sprintf("%s%03d", prefix, i%n) })
		}
	}
	return []twist{
		{"levels-one", "one medium only", "nothing to compare", func(s *sheet) { s.all("medium", "peat") }},
		{"levels-one-everywhere", "one level of every treatment", "nothing to compare, light stays", func(s *sheet) { s.all("medium", "peat"); s.all("cover", "lid") }},
		{"levels-200", "200 levels, three plants each", "soon done; 19,900 pairs do not fill pages", func(s *sheet) { *s = *goodSheet(12, 5, 10); cycle(200, "m")(s) }},
		{"levels-all-different", "every plant has its own medium", "no claim: nothing is repeated", cycle(1000, "m")},
		{"levels-one-single", "one level has a single plant", "no claim on one plant; others stay", func(s *sheet) {
			s.rename("medium", "bark", "peat")
			s.put("medium", map[int]string{9: "bark"})
		}},
		{"cells-one-plant", "one plant a cell of medium and bin", "no residual for the interaction; main effects stay", func(s *sheet) {
			*s = *goodSheet(4, 1, 3)
			s.roles.Interactions = [][2]string{{"medium", "cover"}}
		}},
	}
}

// hostileTangles: treatments that cannot be told apart.
func hostileTangles() []twist {
	return []twist{
		{"treatments-same", "feed is medium under another name", "said to be one; neither claimed alone", withFeed(func(s *sheet, i int) string { return "f-" + s.rows[i][s.at("medium")] }, false)},
		{"treatments-nested", "feed full goes with coir only, and always", "said that they cannot be told apart", withFeed(func(s *sheet, i int) string {
			if s.rows[i][s.at("medium")] == "coir" {
				return "full"
			}
			return "weak"
		}, false)},
		{"treatments-sum", "a third treatment follows from two others", "said which cannot be told apart", func(s *sheet) {
			withFeed(func(_ *sheet, i int) string { return strconv.Itoa(i % 2) }, false)(s)
			s.addColumn("wash", func(i int) string {
				return s.rows[i][s.at("medium")] + s.rows[i][s.at("feed")]
			})
			s.roles.PlantTreatments = append(s.roles.PlantTreatments, "wash")
		}},
		{"interaction-empty-cells", "interaction planned, bark never had full feed", "cells without plants are named; no estimate of them", withFeed(func(s *sheet, i int) string {
			if s.rows[i][s.at("medium")] == "bark" {
				return "weak"
			}
			return []string{"weak", "full"}[i%2]
		}, true)},
		{"interaction-unconnected", "each medium has feeds of its own", "no interaction, no pair over unconnected parts", withFeed(func(s *sheet, i int) string {
			return s.rows[i][s.at("medium")] + []string{"-a", "-b"}[i%2]
		}, true)},
		{"interaction-of-missing", "an interaction names a treatment that is none", "refused by name", func(s *sheet) { s.roles.Interactions = [][2]string{{"medium", "sound"}} }},
		{"interaction-with-itself", "an interaction of medium with medium", "refused plainly", func(s *sheet) { s.roles.Interactions = [][2]string{{"medium", "medium"}} }},
	}
}

// hostileUnits: bins that are not what they are said to be.
func hostileUnits() []twist {
	return []twist{
		{"bin-constant-in-treatment", "each bin has one medium, but medium is named a plant treatment", "the bin is seen to be the unit; no claim by plants", func(s *sheet) {
			s.set("medium", func(i int) string { return []string{"peat", "coir", "bark", "peat"}[i/12] })
		}},
		{"bin-not-named", "each bin has one medium, and the bin column is not named at all", "a caution: plants of one bin are not free of each other, if anything in the table shows it", func(s *sheet) {
			s.set("medium", func(i int) string { return []string{"peat", "coir", "bark", "peat"}[i/12] })
			s.roles.Bin, s.roles.Block, s.roles.BinTreatments = "", "", nil
		}},
		{"bin-treatment-varies", "cover is named a bin treatment but varies within bins", "refused by bin, or treated as dealt to plants and said so", func(s *sheet) {
			s.set("cover", func(i int) string { return []string{"open", "lid"}[i%2] })
		}},
		{"bin-treatment-is-shelf", "one shelf all open, the other all lid", "cover and shelf cannot be told apart", func(s *sheet) {
			s.set("cover", func(i int) string { return []string{"open", "lid"}[i/24] })
		}},
		{"bin-treatment-level-once", "each bin has a cover of its own", "no claim: no bin is repeated", func(s *sheet) {
			s.set("cover", func(i int) string { return fmt.Sprintf("cover %d", i/12) })
		}},
		{"bin-over-shelves", "one bin is said to stand on two shelves", "refused or pointed out by bin", func(s *sheet) {
			s.set("shelf", func(i int) string { return []string{"S1", "S2"}[i%2] })
		}},
		{"bin-names-repeat-on-shelves", "bins are named 1 and 2 on each shelf", "four bins, or a caution, not two", func(s *sheet) {
			s.set("bin", func(i int) string { return strconv.Itoa(1 + (i/12)%2) })
		}},
		{"bin-blank", "the bin of six plants is blank", "left out or refused by row; not a bin of their own in silence", func(s *sheet) {
			s.put("bin", map[int]string{0: "", 1: "", 13: "", 14: "", 25: "", 40: ""})
		}},
	}
}

// hostileRoles: treatments in wrong or double roles.
func hostileRoles() []twist {
	return []twist{
		{"treatment-blank", "the medium of four plants is blank", "left out and counted, or refused by row", func(s *sheet) {
			s.put("medium", map[int]string{0: "", 11: "", 22: "", 33: ""})
		}},
		{"treatment-in-two-roles", "medium is named plant treatment and bin treatment", "refused plainly", func(s *sheet) { s.roles.BinTreatments = append(s.roles.BinTreatments, "medium") }},
		{"treatment-numbers", "medium holds 48 different measured numbers", "no 48 levels in silence", func(s *sheet) {
			s.set("medium", func(i int) string { return fmt.Sprintf("%.3f", 5+0.01*float64(i)) })
		}},
		{"species-is-treatment", "species is medium under another name", "said that they cannot be told apart", func(s *sheet) {
			s.addColumn("species", func(i int) string { return "Sp. " + s.rows[i][s.at("medium")] })
			s.roles.Species = "species"
		}},
		{"light-is-treatment", "light is 100, 200, 300 by medium exactly", "light and medium cannot be told apart", func(s *sheet) {
			s.set("light", func(i int) string {
				return map[string]string{"peat": "100", "coir": "200", "bark": "300"}[s.rows[i][s.at("medium")]]
			})
		}},
		{"through-light-without-light", "a cover is declared to act through light, but no light is named", "refused or said plainly", func(s *sheet) {
			s.roles.ThroughLight, s.roles.Light = []string{"cover"}, ""
		}},
	}
}

// withFeed adds a second plant treatment.
func withFeed(value func(s *sheet, i int) string, crossed bool) func(*sheet) {
	return func(s *sheet) {
		s.addColumn("feed", func(i int) string { return value(s, i) })
		s.roles.PlantTreatments = append(s.roles.PlantTreatments, "feed")
		if crossed {
			s.roles.Interactions = [][2]string{{"medium", "feed"}}
		}
	}
}
