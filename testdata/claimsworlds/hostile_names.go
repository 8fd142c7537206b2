package claimsworlds

import (
	"fmt"
	"strconv"
	"strings"
)

// hostileNames: levels and columns with names that trip a reader or a page.
func hostileNames() []twist {
	level := func(name, odd, to string) twist {
		return twist{"name-" + name, odd, "the level is shown as written, on one line, and nothing else is read into it", func(s *sheet) { s.rename("medium", "coir", to) }}
	}
	return []twist{
		level("comma", "a level is 'coir, washed'", "coir, washed"),
		level("times", "a level is 'coir × perlite', like an interaction", "coir × perlite"),
		level("colon", "a level is 'coir:peat' or like a formula", "coir:peat + 1 | bin"),
		level("quote", "a level holds double and single quotes", `the "best" coir's`),
		level("newline", "a level holds a line break", "coir\nfine"),
		level("tab", "a level holds a tab", "coir\tfine"),
		level("unicode", "a level is in other scripts with combining marks", "ココナッツ e\u0301 Ω 🌱"),
		level("right-to-left", "a level is written right to left, with marks", "\u202eכוורת\u202c"),
		level("control", "a level holds terminal control codes", "\x1b[31mcoir\x1b[0m\a"),
		level("percent", "a level looks like a format", "coir %d %s %!v(MISSING)"),
		level("markup", "a level looks like a page's markup", "<b>coir</b>&amp;<script>"),
		level("formula", "a level looks like a sheet's formula", "=1+1"),
		level("path", "a level looks like a path", "../../coir"),
		level("long", "a level name has 5000 letters", strings.Repeat("coir ", 1000)),
		level("number", "one level among words is a number", "3"),
		level("nan", "a level is named NaN", "NaN"),
		level("na", "a level is named NA", "NA"),
	}
}

// hostileLookAlikes: levels and columns that look alike or like nothing.
func hostileLookAlikes() []twist {
	return []twist{
		{"name-empty-level", "a level is the empty text", "named as blank level or refused; not dropped in silence", func(s *sheet) { s.rename("medium", "coir", "") }},
		{"name-blanks", "levels 'coir', ' coir', 'coir ' and 'Coir'", "a caution that they look alike", func(s *sheet) {
			kinds := []string{"coir", " coir", "coir ", "Coir"}
			s.set("medium", func(i int) string {
				if v := s.rows[i][s.at("medium")]; v != "coir" {
					return v
				}
				return kinds[i%4]
			})
		}},
		{"name-look-alike", "levels equal to the eye: é as one sign or two, a Cyrillic letter", "kept apart or a caution, never crashed", func(s *sheet) {
			kinds := []string{"caf\u00e9", "cafe\u0301", "c\u0430f\u00e9"}
			s.set("medium", func(i int) string { return kinds[i%3] })
		}},
		{"name-numbers-as-labels", "media are named 1, 2, 10", "labels, not amounts; sensible order", func(s *sheet) {
			kinds := []string{"1", "2", "10"}
			s.set("medium", func(i int) string { return kinds[(i*7+i/12)%3] })
		}},
		{"name-same-in-two-factors", "medium and cover share level names", "said of which treatment", func(s *sheet) {
			s.rename("medium", "coir", "lid")
			s.rename("medium", "peat", "open")
		}},
		{"name-level-is-column", "a level is named like a column", "not mixed up", func(s *sheet) { s.rename("medium", "coir", "light") }},
		{"name-column-odd", "treatment column is 'medium, \"new\" × 2\n(l)'", "shown on one line", func(s *sheet) { s.renameColumn("medium", "medium, \"new\" × 2\n(l)") }},
		{"name-column-blank", "the medium column has an empty name", "refused plainly, or worked", func(s *sheet) { s.renameColumn("medium", "") }},
		{"name-column-blanks", "column names carry blanks around them", "found, or refused with the name shown", func(s *sheet) { s.head[s.at("mass")] = " mass " }},
		{"name-column-case", "the column is Mass, the role says mass", "found, or refused with near names", func(s *sheet) { s.head[s.at("mass")] = "Mass" }},
		{"name-column-twice", "two columns are named mass", "refused plainly", func(s *sheet) { s.addColumn("mass", func(i int) string { return strconv.Itoa(i) }) }},
		{"name-column-long", "a covariate's name has 20000 letters", "no broken page", func(s *sheet) { s.renameColumn("start", strings.Repeat("start", 4000)) }},
		{"name-intercept", "a covariate is named '(Intercept)', a treatment 'lost'", "no clash with inner names", func(s *sheet) {
			s.renameColumn("start", "(Intercept)")
			s.renameColumn("lost", "was lost")
			s.renameColumn("medium", "lost")
		}},
		{"name-bins-odd", "bins are named '', '0', '-1', 'NaN'", "four bins, or a refusal", func(s *sheet) {
			for k, to := range []string{"", "0", "-1", "NaN"} {
				s.rename("bin", fmt.Sprintf("B%d", k+1), to)
			}
		}},
	}
}

// renameColumn renames a column and every role that names it.
func (s *sheet) renameColumn(from, to string) {
	s.head[s.at(from)] = to
	lists := [][]string{s.roles.PlantTreatments, s.roles.BinTreatments, s.roles.Covariates}
	for _, l := range lists {
		for i := range l {
			if l[i] == from {
				l[i] = to
			}
		}
	}
	if s.roles.Lost == from {
		s.roles.Lost = to
	}
}
