package account_test

import (
	"encoding/json"
	"testing"

	"parstead/light"
	"parstead/light/account"
)

// What is written reads back as the same text and the same numbers, whatever a
// bin is called.
func TestDaysReadBack(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"upper", "", "a b", `say "hi"`, `back\slash`, "Übung ☼", "<b>&", "tab\tline\n", "\x7f", "\u2028"} {
		for _, x := range []float64{0, 1, 0.1, 1.0 / 3, 1e-9, 12.96, 1e21} {
			day := account.Day{
				Date: date(t, "2026-03-02"), Position: light.Position{Bin: name, Row: 3, Column: 14},
				Figure: account.Figure{Known: true, DLI: light.DLI(x), Covered: x, Filled: x, Missing: x, Error: account.Error{Bin: x}, Source: account.FromMap},
			}
			var got struct {
				Date, Bin, Source             string
				Row, Column                   int
				DLI, Covered, Filled, Missing float64
				RelativeError                 float64 `json:"relative_error"`
			}
			if err := json.Unmarshal(day.AppendJSON(nil), &got); err != nil {
				t.Fatalf("%q, %v: %v in %s", name, x, err, day.AppendJSON(nil))
			}
			if got.Date != "2026-03-02" || got.Bin != name || got.Row != 3 || got.Column != 14 || got.Source != "map" {
				t.Errorf("%q: got %+v", name, got)
			}
			for what, y := range map[string]float64{"dli": got.DLI, "covered": got.Covered, "filled": got.Filled, "missing": got.Missing, "error": got.RelativeError} {
				if y != x {
					t.Errorf("%s: %v, want %v", what, y, x)
				}
			}
		}
	}
}
