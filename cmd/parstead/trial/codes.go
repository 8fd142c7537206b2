package trial

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"parstead/cmd/parstead/cells"
)

// What spreadsheets write in place of a code such as 1E5, 3-4 or mar3 (common
// practice, no source).
var (
	exponentCode = regexp.MustCompile(`^\d([.,]\d+)?[eE][+-]\d{2,}$`)
	monthCode    = regexp.MustCompile(`(?i)^(\d{1,2}[-./ ]+(` + months + `)[a-zé]*\.?|(` + months + `)[a-zé]*\.?[-./ ]+\d{2,4})$`)
	dayCode      = regexp.MustCompile(`^(\d{4}-\d{1,2}-\d{1,2}|\d{1,2}([./-])\d{1,2}([./-])(\d{2}|\d{4}))( 00:00(:00)?)?$`)
)

// Names of months as spreadsheets shorten them in western European languages.
const months = `jan|feb|fev|fév|mar|mär|mrz|apr|avr|abr|may|mai|maj|mei|jun|jui|jul|aug|aoû|ago|sep|set|oct|okt|out|nov|dec|dez|déc|dic|ene|gen|mag|giu|lug|ott|mrt`

// codes reads the plant codes of a sheet's column, one a row; "" where the cell
// is blank or wrong.
func (l *loader) codes(s *sheet) []string {
	looksLikeDay := 0
	for _, r := range s.rows {
		if dayCode.MatchString(r.cell("plant").text) {
			looksLikeDay++
		}
	}
	codes := make([]string, len(s.rows))
	for i, r := range s.rows {
		c := r.cell("plant")
		t := c.turn
		switch {
		case c.blank():
			l.fault(c.at, "the plant's code is blank", "write the code, or clear the whole line")
			continue
		case strings.ContainsRune("=+-@", rune(c.text[0])):
			l.fault(c.at, fmt.Sprintf("a spreadsheet would take the plant's code %s for a formula", c.text), "begin it with a letter or a digit")
			continue
		case t != cells.None:
		case exponentCode.MatchString(c.text):
			t = cells.Exponent
		case monthCode.MatchString(c.text), dayCode.MatchString(c.text) && looksLikeDay < len(s.rows):
			t = cells.Date
		}
		if t != cells.None {
			l.fault(c.at, fmt.Sprintf("a spreadsheet has turned the plant's code into %s: %s", t, c.text),
				"format the column as text, then type the code again")
			continue
		}
		codes[i] = c.text
	}
	return codes
}

// knownPlant finds a plant by the code in a row of another sheet.
func (l *loader) knownPlant(r row, code string) *plantRow {
	if code == "" {
		return nil
	}
	if p := l.plants[code]; p != nil || l.incomplete {
		return p
	}
	mend := "add the plant to plants.csv"
	if l.source != "" {
		mend = l.mendCode(code, l.source)
	}
	l.fault(r.cell("plant").at, fmt.Sprintf("no plant has the code %q", code), mend)
	return nil
}

// mendCode tells what to do about a code that the sheet has not. Another code is
// named only if its numbers are the same: P25 was not meant to be P15.
func (l *loader) mendCode(code, sheet string) string {
	if near, ok := nearest(code, l.order); ok && slices.Equal(numbersIn(near), numbersIn(code)) {
		return fmt.Sprintf("write %s, or add the plant to %s", near, sheet)
	}
	return "correct the code, or add the plant to " + sheet
}

var digitRun = regexp.MustCompile(`\d+`)

// numbersIn are the numbers in a code, without leading zeros.
func numbersIn(code string) []string {
	numbers := digitRun.FindAllString(code, -1)
	for i, n := range numbers {
		numbers[i] = strings.TrimLeft(n, "0")
	}
	return numbers
}
