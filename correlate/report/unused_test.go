package report

import (
	"slices"
	"testing"
)

// What the light account did not use stands among the facts of the trial.
func TestUnusedReadingsAreTold(t *testing.T) {
	t.Parallel()
	r := trial(t)
	told := func() string {
		list := r.facts()
		i := slices.IndexFunc(list, func(f fact) bool { return f.What == "Readings and surveys that are not used" })
		if i < 0 {
			t.Fatal("nothing is told")
		}
		return list[i].Is
	}
	if none := told(); none == "" {
		t.Error("that nothing was set aside is not told")
	}
	r.Unused = []string{"Sensor a of bin upper: 5 readings are marks of saturation.", "Bin lower: no light map."}
	if got := told(); got != "Sensor a of bin upper: 5 readings are marks of saturation. Bin lower: no light map." {
		t.Errorf("%q", got)
	}
}
