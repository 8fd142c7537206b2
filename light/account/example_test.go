package account_test

import (
	"context"
	"fmt"
	"time"

	"parstead/light"
	"parstead/light/account"
)

// One quantum sensor that reads 200 µmol m⁻² s⁻¹ for 14 hours speaks for its own
// position as it is, and for the one beside it with a larger error.
func Example() {
	bin := light.Bin{Name: "upper", Rows: 1, Columns: 2}
	at := light.Position{Bin: "upper", Row: 1, Column: 1}
	day := light.Date{Year: 2026, Month: time.March, Day: 2}
	rack := &light.Rack{
		Calendar: light.Calendar{Zone: time.UTC}, Starts: day, Ends: day, Bins: []light.Bin{bin},
		Sensors: []light.Sensor{{
			Name: "centre", Measures: light.QuantityPPFD, Position: at, MaxGap: 10 * time.Minute,
			Scale: 1, High: 3000, RelativeError: 0.05,
		}},
	}
	readings := &light.Series{}
	for t := rack.Day(day).From; !t.After(rack.Day(day).Until); t = t.Add(time.Minute) {
		ppfd := 0.0
		if t.Hour() >= 7 && t.Hour() < 21 {
			ppfd = 200
		}
		readings.Add(t, ppfd, 0)
	}
	src := &light.Memory{Readings: map[string]*light.Series{"centre": readings}}
	days, err := account.New(rack, src, account.Options{}).Days(context.Background(), day, day)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, d := range days {
		fmt.Printf("%s: %.2f mol ± %.0f %% (%s)\n", d.Position, d.DLI, 100*d.Error.Total(), d.Source)
	}
	// Output:
	// upper, row 1, column 1: 10.08 mol ± 5 % (sensor)
	// upper, row 1, column 2: 10.08 mol ± 21 % (bin)
}
