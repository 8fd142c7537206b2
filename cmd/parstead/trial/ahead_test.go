package trial_test

import (
	"strings"
	"testing"
	"time"
)

// What is dated later than today is asked about, a few of a kind.
func TestWhatIsStillToCome(t *testing.T) {
	t.Parallel()
	read := load(
		t,
		edit{"counts.csv", "", "time,plant,outcome,value\n2026-04-01 10:00,A1,leaves,3\n2026-05-01 10:00,A1,leaves,4\n"},
		edit{"harvest.csv", "", "plant,date,leaves\nA1,,3\nA2,2026-05-02,3\n"},
		edit{"moves.csv", "", "time,plant,bin,row,column\n2026-05-01 10:00,A3,lower,3,3\n"},
	)
	for _, c := range []struct {
		today string
		want  []string
	}{
		{"2026-05-02", nil},
		{"2026-04-02", []string{
			"counts.csv: warning: leaves of plant A1 is dated 2026-05-01, and today is 2026-04-02",
			"harvest.csv: warning: the harvest or loss of plant A2 is dated 2026-05-02",
			"moves.csv: warning: the move of plant A3 is dated 2026-05-01",
		}},
		{"2024-04-02", []string{"trial.toml: warning: the trial starts on 2026-03-02, in 699 days", "2026-04-01", "2026-05-01", "2026-05-02", "2026-05-01"}},
	} {
		now, err := time.Parse(time.DateOnly, c.today)
		if err != nil {
			t.Fatal(err)
		}
		lines := told(read.Ahead(now.Add(12 * time.Hour)))
		if len(lines) != len(c.want) {
			t.Fatalf("%s:\n%s", c.today, strings.Join(lines, "\n"))
		}
		for i, want := range c.want {
			if !strings.Contains(lines[i], want) {
				t.Errorf("%s: %q is not in %s", c.today, want, lines[i])
			}
		}
	}
}
