package spectrum

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"sync"

	"parstead/light"
)

//go:embed v_lambda.csv
var efficiencyCSV string

//go:embed illuminants.csv
var illuminantsCSV string

// efficiency is V(λ), 360 to 830 nm by 1 nm.
var efficiency = sync.OnceValue(func() Spectrum {
	_, columns := columnsOf(efficiencyCSV)
	return Spectrum{NM: columns[0], Power: columns[1]}
})

// Illuminants names the CIE illuminants that Illuminant knows, in the order of
// their table.
func Illuminants() []string {
	names, _ := columnsOf(illuminantsCSV)
	return names[1:]
}

// Daylight tells whether an illuminant is a phase of daylight: the D series of
// CIE 15 and ISO/CIE 11664-2.
func Daylight(name string) bool { return strings.EqualFold(strings.TrimSpace(name), "D65") }

// Illuminant is the factor of a CIE illuminant, named without regard to case:
// "FL2", "LED-B3". Its spectrum is tabulated from 380 to 780 nm by 5 nm.
func Illuminant(name string) (light.LuxPerPPFD, error) {
	names, columns := columnsOf(illuminantsCSV)
	for i, known := range names[1:] {
		if strings.EqualFold(known, strings.TrimSpace(name)) {
			return Spectrum{NM: columns[0], Power: columns[i+1]}.Factor()
		}
	}
	return 0, fmt.Errorf("no CIE illuminant %q: use one of %s", name, strings.Join(names[1:], ", "))
}

// columnsOf reads an embedded table of numbers under a row of names.
func columnsOf(table string) (names []string, columns [][]float64) {
	rows, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	if err != nil {
		panic("spectrum: embedded table: " + err.Error())
	}
	columns = make([][]float64, len(rows[0]))
	for _, row := range rows[1:] {
		for i, cell := range row {
			x, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				panic("spectrum: embedded table: " + err.Error())
			}
			columns[i] = append(columns[i], x)
		}
	}
	return rows[0], columns
}
