package main

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"parstead/light"
	"parstead/store"
)

// harvestTable writes the made-up trial: 162 plants, six treatments, two bins of
// 9 × 9. R makes it, so that its peers have the very same.
func harvestTable(b *testing.B) string {
	b.Helper()
	data := filepath.Join(b.TempDir(), "harvest.csv")
	command := peer("Rscript", "harvest.R", "gen", data)
	wanted(b, command)
	return data
}

const seasonDays = 182

// binText is a bin and sensorText one of its sensors in trial.toml.
const (
	binText    = "[[bin]]\nname = \"%d\"\nrows = %d\ncolumns = %d\npitch_cm = [6.0, 6.0]\n"
	sensorText = "[[sensor]]\nname = \"%d\"\nmeasures = \"ppfd\"\nbin = \"%d\"\nrow = %d\ncolumn = %d\ntopic = \"rack/%d\"\n"
)

// harvestText is the rest of trial.toml where there is a harvest.
const harvestText = `[[treatment]]
name = "treatment"
levels = ["A", "B", "C", "D", "E", "F"]
set_per = "plant"
[[outcome]]
name = "mass"
kind = "measure"
[[outcome]]
name = "shoots"
kind = "count"
`

// firstDay is that of the season.
var firstDay = time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)

func trialText(days int) string {
	return fmt.Sprintf("[trial]\nname = \"season\"\ntimezone = \"UTC\"\nstarts = %s\nends = %s\n",
		firstDay.Format(time.DateOnly), firstDay.AddDate(0, 0, days-1).Format(time.DateOnly))
}

// sensorsOnly makes a trial folder with four quantum sensors in each of two
// bins, a reading a minute, packed, and no other position; and the readings as
// CSV.
func sensorsOnly(b *testing.B) (folder, readings string) {
	b.Helper()
	folder, readings = b.TempDir(), filepath.Join(b.TempDir(), "readings.csv")
	config := trialText(seasonDays)
	for bin := 1; bin <= 2; bin++ {
		config += fmt.Sprintf(binText, bin, 1, 4)
		for k := 1; k <= 4; k++ {
			n := 4*(bin-1) + k
			config += fmt.Sprintf(sensorText, n, bin, 1, k, n)
		}
	}
	write(b, folder, map[string]string{"trial.toml": config})
	keep(b, folder, readings)
	return folder, readings
}

// season makes a trial folder of the made-up trial's table with such sensors in
// bins of 9 × 9, and a survey; and the readings as CSV.
func season(b *testing.B, data string) (folder, readings string) {
	b.Helper()
	folder, readings = b.TempDir(), filepath.Join(b.TempDir(), "readings.csv")
	config := trialText(seasonDays)
	for bin := 1; bin <= 2; bin++ {
		config += fmt.Sprintf(binText, bin, 9, 9)
		for k := range 4 {
			n := 4*(bin-1) + k + 1
			config += fmt.Sprintf(sensorText, n, bin, 3+k/2*4, 3+k%2*4, n)
		}
	}
	var layout, harvest, survey strings.Builder
	layout.WriteString("plant,bin,row,column,treatment\n")
	harvest.WriteString("plant,mass,shoots\n")
	survey.WriteString("time,bin,row,column,ppfd\n")
	for i, r := range rowsOf(b, data) { // col, row, bin, treatment, dli, mass, shoots
		dli, err := strconv.ParseFloat(r[4], 64)
		if err != nil {
			b.Fatal(err)
		}
		at := firstDay.Add(10*time.Hour + time.Duration(i)*10*time.Second)
		fmt.Fprintf(&layout, "P%d,%s,%s,%s,%s\n", i+1, r[2], r[1], r[0], r[3])
		fmt.Fprintf(&harvest, "P%d,%s,%s\n", i+1, r[5], r[6])
		fmt.Fprintf(&survey, "%s,%s,%s,%s,%.1f\n", at.Format(time.RFC3339), r[2], r[1], r[0], plateau*dli/14)
	}
	write(b, folder, map[string]string{
		"trial.toml": config + harvestText, "layout.csv": layout.String(), "harvest.csv": harvest.String(), "survey.csv": survey.String(),
	})
	keep(b, folder, readings)
	return folder, readings
}

func write(b *testing.B, folder string, files map[string]string) {
	b.Helper()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			b.Fatal(err)
		}
	}
}

// plateau is what the sensors see, lit 14 h a day, µmol m⁻² s⁻¹.
const plateau = 85

// keep stores eight sensors' season and writes it as CSV.
func keep(b *testing.B, folder, readings string) {
	b.Helper()
	file, err := os.Create(readings)
	if err != nil {
		b.Fatal(err)
	}
	out := bufio.NewWriter(file)
	fmt.Fprintln(out, "sensor,time,value")
	fill(b, folder, 8, seasonDays, func(r light.Reading) bool {
		fmt.Fprintf(out, "%s,%d,%g\n", r.Sensor, r.At.Unix(), r.Value)
		return true
	})
	for _, end := range []func() error{out.Flush, file.Close} {
		if err := end(); err != nil {
			b.Fatal(err)
		}
	}
}

// fill stores and packs, night by night, what sensors named 1, 2, ... read once a
// minute, as far as keep says so.
func fill(b *testing.B, folder string, sensors, days int, keep func(light.Reading) bool) {
	b.Helper()
	db, err := store.Open(filepath.Join(folder, "readings.db"), store.Options{})
	if err != nil {
		b.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	var group []light.Reading
	for day := range days {
		for i := range 1440 {
			at := firstDay.AddDate(0, 0, day).Add(time.Duration(i) * time.Minute)
			for sensor := range sensors {
				value := 0.0
				if i < 14*60 {
					value = math.Round((plateau+rng.NormFloat64()*0.43)*10) / 10
				}
				r := light.Reading{
					Sensor: strconv.Itoa(sensor + 1), At: at, Value: value, Mark: light.OwnTime, Arrived: at, Boot: 1, Uptime: at.Sub(firstDay),
				}
				if keep(r) {
					group = append(group, r)
				}
			}
			if len(group) < 10_000 && i < 1439 {
				continue
			}
			if _, err := db.Append(b.Context(), group); err != nil {
				b.Fatal(err)
			}
			group = group[:0]
		}
		if err := db.Pack(b.Context(), firstDay.AddDate(0, 0, day+1)); err != nil {
			b.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		b.Fatal(err)
	}
}

// rowsOf reads a CSV file without its head.
func rowsOf(b *testing.B, path string) [][]string {
	b.Helper()
	file, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer file.Close() //nolint:errcheck // it only read
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		b.Fatal(err)
	}
	return rows[1:]
}
