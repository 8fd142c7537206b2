package trial

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A wrong column is one mistake, not a page full: the later lines are listed.
func TestLinesFoldWhatIsAlike(t *testing.T) {
	t.Parallel()
	var problems []Problem
	for _, line := range []int{2, 3, 4, 5, 6, 7, 9, 11, 12} {
		problems = append(problems, Problem{File: "layout.csv", Line: line, Column: 1, Level: LevelError, Says: fmt.Sprintf("no plant P%d", line), Mend: "add it"})
	}
	problems = append(problems, Problem{File: "layout.csv", Line: 12, Column: 5, Level: LevelError, Says: "no bin", Mend: "write upper"})
	want := []string{
		"layout.csv:2:1: error: no plant P2; add it",
		"layout.csv:3:1: error: no plant P3; add it",
		"layout.csv:4:1: error: no plant P4; add it",
		"layout.csv: error: 6 more of this kind, in lines 5 to 7, 9, 11 to 12; add it",
		"layout.csv:12:5: error: no bin; write upper",
	}
	if d := cmp.Diff(want, Lines(problems)); d != "" {
		t.Error(d)
	}
	if lines := Lines(problems[:4]); len(lines) != 4 || lines[3] != problems[3].Error() {
		t.Error(lines)
	}
}
