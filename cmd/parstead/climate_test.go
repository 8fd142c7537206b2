package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
)

// airRows is a day and a half of 24 °C and 60 % by light, 18 °C and 80 % by
// night, and a burst of 33 °C.
func airRows() string {
	var rows strings.Builder
	rows.WriteString("time,sensor,value\n")
	for at := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC); at.Before(march); at = at.Add(5 * time.Minute) {
		celsius, humidity := 18.0, 80.0
		if h := at.Hour(); h >= 7 && h < 21 {
			celsius, humidity = 24, 60
		}
		if at.Day() == 3 && at.Hour() == 13 {
			celsius = 33
		}
		fmt.Fprintf(&rows, "%s,air,%g\n%s,damp,%g\n", at.Format(time.RFC3339), celsius, at.Format(time.RFC3339), humidity)
	}
	return rows.String()
}

func TestClimate(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	must(t, march, airRows(), "import", dir, "-")
	text := must(t, march, "", "climate", dir)
	narrow(t, text)
	if !strings.HasPrefix(text, "upper: ") || !strings.Contains(text, "degree-days above 10 °C in 3 of 3 days") {
		t.Errorf("%s", text)
	}
	var days []map[string]any
	if err := json.Unmarshal([]byte(must(t, march, "", "climate", dir, "--json", "--from", "2026-03-02", "--to", "2026-03-03")), &days); err != nil {
		t.Fatal(err)
	}
	if len(days) != 2 {
		t.Fatalf("%d days", len(days))
	}
	first := days[0]
	// The vapour-pressure deficit by FAO Irrigation and Drainage Paper 56, eq. 11:
	// 0.6108 exp(17.27 T/(T + 237.3)) (1 − RH/100).
	vpd := func(t, rh float64) float64 { return 0.6108 * math.Exp(17.27*t/(t+237.3)) * (1 - rh/100) }
	for key, want := range map[string]float64{
		"light_mean": 24, "dark_mean": 18, "min": 18, "max": 24, "humidity_light": 60, "humidity_dark": 80,
		"vpd_light": vpd(24, 60), "vpd_dark": vpd(18, 80), "degree_days": (24+18)/2. - 10,
	} {
		got, ok := first[key].(float64)
		if !ok || math.Abs(got-want) > 0.02*want {
			t.Errorf("%s is %v, want %v", key, first[key], want)
		}
	}
	if first["date"] != "2026-03-02" || first["bin"] != "upper" {
		t.Errorf("%v", first)
	}
	if hot, ok := days[1]["hours_hot"].(float64); !ok || math.Abs(hot-1) > 0.1 {
		t.Errorf("hot for %v h, want 1", days[1]["hours_hot"])
	}
	if status, _, talk := command(t, march, "", "climate", dir, "--from", "March"); status != 2 || strings.Count(talk, "\n") != 1 {
		t.Errorf("a bad date: %d, %s", status, talk)
	}
}

func TestClimateBeforeAnyReading(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	if text := must(t, march, "", "climate", dir, "--json"); !json.Valid([]byte(text)) {
		t.Errorf("%s", text)
	}
	text := must(t, march, "", "climate", dir)
	narrow(t, text)
	if text != "upper: no reading of the air from 2026-03-02 to 2026-03-04.\n" {
		t.Errorf("%q", text)
	}
}
