package spectrum

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"parstead/light"
)

// ReadFactor reads a lamp's spectrum, two columns of nm and relative power, and
// gives its factor. Columns are parted by a comma, a semicolon or a tab; a
// decimal comma is accepted with the latter two; a first row of names and blank
// rows are passed over. Errors name the line, or what Spectrum.Validate finds.
func ReadFactor(r io.Reader) (light.LuxPerPPFD, error) {
	s, err := Read(r)
	if err != nil {
		return 0, err
	}
	return s.Factor()
}

// Read reads a spectrum as ReadFactor does; only its cells are checked.
func Read(r io.Reader) (Spectrum, error) {
	var s Spectrum
	lines := bufio.NewScanner(r)
	headed := false
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(strings.TrimPrefix(lines.Text(), "\ufeff"))
		if line == "" {
			continue
		}
		nm, power, err := cells(line)
		if err != nil {
			if len(s.NM) == 0 && !headed && !strings.ContainsAny(line[:1], "+-.0123456789") {
				headed = true
				continue
			}
			return Spectrum{}, fmt.Errorf("line %d: %w", n, err)
		}
		s.NM, s.Power = append(s.NM, nm), append(s.Power, power)
	}
	if err := lines.Err(); err != nil {
		return Spectrum{}, fmt.Errorf("read spectrum: %w", err)
	}
	return s, nil
}

func cells(line string) (nm, power float64, err error) {
	separator := ","
	for _, other := range []string{";", "\t"} {
		if strings.Contains(line, other) {
			separator = other
			break
		}
	}
	parts := strings.Split(line, separator)
	if len(parts) != 2 {
		if separator == "," && len(parts) > 2 {
			return 0, 0, fmt.Errorf("%q has %d columns, not two: part the columns by a semicolon if decimals have commas", line, len(parts))
		}
		return 0, 0, fmt.Errorf("%q has %d columns: write nm and relative power, parted by a comma, a semicolon or a tab", line, len(parts))
	}
	for i, x := range []*float64{&nm, &power} {
		cell := strings.TrimSpace(parts[i])
		number := cell
		if separator != "," {
			number = strings.Replace(cell, ",", ".", 1)
		}
		if *x, err = strconv.ParseFloat(number, 64); err != nil {
			if errors.Is(err, strconv.ErrRange) {
				return 0, 0, fmt.Errorf("%q is out of range", cell)
			}
			return 0, 0, fmt.Errorf("%q is not a number", cell)
		}
	}
	return nm, power, nil
}
