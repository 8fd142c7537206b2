package trial

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"parstead/cmd/parstead/cells"
)

// slip is what a grower most likely meant by a line that is no TOML.
type slip struct {
	says, mend string
	fixed      string // the line as it was meant; "" where nobody can tell
}

// assigned parts a line, which has no comment, into its key, the sign behind it and its
// value.
var assigned = regexp.MustCompile(`^(\s*[\w.-]+\s*)([=:])\s*(.*?)\s*$`)

// uncommented is a line without its comment: what a # outside quotation marks begins.
func uncommented(line string) string {
	quoted := false
	for i, r := range line {
		switch {
		case r == '"':
			quoted = !quoted
		case r == '#' && !quoted:
			return line[:i]
		}
	}
	if before, _, found := strings.Cut(line, "#"); quoted && found { // the mark that is not closed stands before it, or in it
		return before
	}
	return line
}

// slipOf tells of a line what most likely went wrong; ok is false where it shows
// nothing.
func slipOf(line string) (s slip, ok bool) {
	if heading, isHeading := slipOfHeading(line); isHeading {
		return heading, heading.says != ""
	}
	m := assigned.FindStringSubmatch(uncommented(line))
	if m == nil {
		return slip{}, false
	}
	key, sign, value := m[1], m[2], m[3]
	name := strings.TrimSpace(key)
	if value == "" {
		return slip{says: "nothing stands behind " + name, mend: "write its value, or remove the line"}, true
	}
	if sign == ":" {
		s = slip{says: name + " is followed by a colon", mend: "write " + name + " = " + value}
		s.fixed = key + "= " + value
		return s, true
	}
	for _, of := range valueSlips {
		fixed, says, mend := of(value)
		if says == "" {
			continue
		}
		if mend == "" {
			mend = "write " + name + " = " + fixed
		}
		return slip{says: name + ": " + says, mend: mend, fixed: key + "= " + fixed}, true
	}
	return slip{}, false
}

// slipOfHeading looks at a line that begins with a bracket.
func slipOfHeading(line string) (s slip, isHeading bool) {
	text, _, _ := strings.Cut(line, "#")
	text = strings.TrimSpace(text)
	if !strings.HasPrefix(text, "[") {
		return slip{}, false
	}
	name := strings.Trim(text, "[] ")
	fixed := "[" + name + "]"
	if strings.HasPrefix(text, "[[") {
		fixed = "[" + fixed + "]"
	}
	if fixed == text || !regexp.MustCompile(`^[\w.-]+$`).MatchString(name) {
		return slip{}, true
	}
	return slip{says: fmt.Sprintf("the brackets of the heading %s don't match", text), mend: "write " + fixed, fixed: fixed}, true
}

var (
	dateOfThree = regexp.MustCompile(`^(\d{1,4})([./-])(\d{1,2})[./-](\d{1,4})$`)
	shortTime   = regexp.MustCompile(`^(\d{1,2})[:h](\d{2})$`)
	bareLength  = regexp.MustCompile(`^\d+(\.\d+)?(ms|s|m|h)$`)
	barePercent = regexp.MustCompile(`^\d+([.,]\d+)?\s*%$`)
	withUnit    = regexp.MustCompile(`^([+-]?\d+([.,]\d+)?)\s*[a-zA-Zµ°€$£%²/]+[\w²/]*$`)
	halfNumber  = regexp.MustCompile(`^[+-]?(\d+\.|\.\d+)$`)
	commaInList = regexp.MustCompile(`\d,\d`)
	bareWords   = regexp.MustCompile(`^[\pL_][\pL\pN _.-]*$`)
	openQuote   = regexp.MustCompile(`^"[^"\\]*$`)
	manyTexts   = regexp.MustCompile(`^("[^"]*"\s*,\s*)+"[^"]*"$`)
	backslashes = regexp.MustCompile(`^"[^"]*\\[^"]*"$`)
	printed     = strings.NewReplacer("“", `"`, "”", `"`, "„", `"`, "«", `"`, "»", `"`, "‘", `"`, "’", `"`)
	spokenFlags = map[string]string{"True": "true", "TRUE": "true", "Yes": "true", "yes": "true", "False": "false", "FALSE": "false", "No": "false", "no": "false"}
)

// valueSlips look at a value that is no TOML: what it was meant to be, what is wrong
// with it, and the mend where that is not to write the one for the other. says is ""
// where they find nothing.
var valueSlips = []func(value string) (fixed, says, mend string){
	datesSlip,
	func(v string) (string, string, string) {
		if !cells.IsCommaNumber(v) {
			return "", "", ""
		}
		return strings.Replace(v, ",", ".", 1), fmt.Sprintf("%s has a decimal comma", v), ""
	},
	func(v string) (string, string, string) {
		if !strings.HasPrefix(v, "[") || !strings.Contains(v, ";") {
			return "", "", ""
		}
		fixed := strings.ReplaceAll(commaInList.ReplaceAllStringFunc(v, func(s string) string { return strings.Replace(s, ",", ".", 1) }), ";", ",")
		return fixed, "a list has commas between its values, and decimals have a point", ""
	},
	func(v string) (string, string, string) {
		m := shortTime.FindStringSubmatch(v)
		if m == nil {
			return "", "", ""
		}
		return fmt.Sprintf(`"%02s:%s"`, m[1], m[2]), "a time of day has two digits for hours and minutes, in quotes", ""
	},
	func(v string) (string, string, string) {
		if !bareLength.MatchString(v) {
			return "", "", ""
		}
		return strconv.Quote(v), "a length of time stands in quotes", ""
	},
	func(v string) (string, string, string) {
		if !barePercent.MatchString(v) {
			return "", "", ""
		}
		return strconv.Quote(strings.ReplaceAll(strings.ReplaceAll(v, " ", ""), ",", ".")), "a share stands in quotes", ""
	},
	func(v string) (string, string, string) {
		m := withUnit.FindStringSubmatch(v)
		if m == nil {
			return "", "", ""
		}
		return strings.Replace(m[1], ",", ".", 1), "the number stands alone, without its unit", ""
	},
	func(v string) (string, string, string) {
		if !halfNumber.MatchString(v) {
			return "", "", ""
		}
		fixed := strings.TrimSuffix(strings.Replace("0"+v, "0-.", "-0.", 1), ".")
		if strings.HasSuffix(v, ".") {
			fixed = v + "0"
		}
		return fixed, "a decimal point has digits before and behind it", ""
	},
	func(v string) (string, string, string) { return spokenFlags[v], flagSays(v), "" },
	func(v string) (string, string, string) {
		if fixed := printed.Replace(v); strings.HasPrefix(fixed, `"`) && !strings.HasPrefix(v, `"`) {
			return fixed, `texts stand in straight quotes, as in "text"`, ""
		}
		return "", "", ""
	},
	func(v string) (string, string, string) {
		switch {
		case openQuote.MatchString(v) && strings.TrimSpace(v) != `"`:
			return v + `"`, "the quotation mark is not closed", ""
		case manyTexts.MatchString(v):
			return "[" + v + "]", "several values stand in brackets", ""
		case backslashes.MatchString(v):
			fixed := strings.ReplaceAll(v, `\`, "/")
			return fixed, `a \ in quotes begins a sign of its own`, ""
		case bareWords.MatchString(v):
			return strconv.Quote(v), "a text stands in quotes", ""
		}
		return "", "", ""
	},
}

func flagSays(v string) string {
	if spokenFlags[v] == "" {
		return ""
	}
	return fmt.Sprintf("%q is written true or false", v)
}

// datesSlip is a date that does not begin with the year, or lacks its zeros.
func datesSlip(v string) (fixed, says, mend string) {
	m := dateOfThree.FindStringSubmatch(v)
	if m == nil {
		return "", "", ""
	}
	number := func(s string) int { n, _ := strconv.Atoi(s); return n } // digits: can't fail
	iso := func(year, month, day int) string { return fmt.Sprintf("%04d-%02d-%02d", year, month, day) }
	a, b, c := number(m[1]), number(m[3]), number(m[4])
	if len(m[1]) == 4 {
		return iso(a, b, c), "a date is written with dashes and two digits for month and day", ""
	}
	if len(m[1]) > 2 || len(m[4])%2 == 1 {
		return "", "", ""
	}
	if c < 100 {
		c += 2000
	}
	switch {
	case b > 12 && a <= 12:
		return iso(c, a, b), "a date begins with the year", ""
	case m[2] == "/" && a <= 12 && a != b:
		return iso(c, b, a), v + " can be read two ways", fmt.Sprintf("a date begins with the year: write %s or %s", iso(c, b, a), iso(c, a, b))
	}
	return iso(c, b, a), "a date begins with the year", ""
}
