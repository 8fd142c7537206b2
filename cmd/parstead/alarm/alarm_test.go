package alarm

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/light/watch"
)

var noon = time.Date(2026, 8, 5, 12, 0, 0, 0, time.UTC)

// conditions are written "kind bin sensor", separated by commas; a bin of the
// whole rack is "-".
func conditions(text string, since time.Time) (list []watch.Condition) {
	for one := range strings.SplitSeq(text, ", ") {
		if one == "" {
			continue
		}
		words := append(strings.Fields(one), "-", "-")
		c := watch.Condition{Kind: watch.Kind(words[0]), Since: since}
		c.Bin, c.Sensor = strings.Trim(words[1], "-"), strings.Trim(words[2], "-")
		list = append(list, c)
	}
	return list
}

func text(list []watch.Condition) string {
	var all []string
	for _, c := range list {
		all = append(all, strings.Join(strings.Fields(string(c.Kind)+" "+c.Bin+" "+c.Sensor), " "))
	}
	return strings.Join(all, ", ")
}

// A look a minute: what each finds, and what is told and told to be over by it.
func TestWhatIsTold(t *testing.T) {
	t.Parallel()
	type look struct{ own, shown, tell, over string }
	for name, looks := range map[string][]look{
		"what readings show is told when two looks agree, and its end too": {
			{"", "dimmed upper", "", ""},
			{"", "dimmed upper", "dimmed upper", ""},
			{"", "dimmed upper", "", ""},
			{"", "", "", ""},
			{"", "", "", "dimmed upper"},
			{"", "", "", ""},
		},
		"what one look alone has found is not told": {
			{"", "dimmed upper", "", ""}, {"", "", "", ""}, {"", "dimmed upper", "", ""},
		},
		"what comes back before it is sure to be over goes on": {
			{"", "hot upper", "", ""}, {"", "hot upper", "hot upper", ""}, {"", "", "", ""}, {"", "hot upper", "", ""}, {"", "hot upper", "", ""},
		},
		"what the daemon knows of itself is told at once": {
			{"disk", "", "disk", ""}, {"", "", "", "disk"}, {"files", "", "files", ""}, {"files", "", "", ""}, {"disk, files", "", "disk", ""},
		},
		"the whole rack speaks for its bins": {
			{"", "dark_when_due upper", "", ""}, {"", "dark_when_due", "", ""}, {"", "dark_when_due", "dark_when_due", ""},
		},
		"a bin that was told before the rack goes on as long as the rack speaks for it": {
			{"", "dark_when_due upper", "", ""},
			{"", "dark_when_due upper", "dark_when_due upper", ""},
			{"", "dark_when_due", "", ""},
			{"", "dark_when_due", "dark_when_due", ""},
			{"", "", "", "dark_when_due upper"},
			{"", "", "", "dark_when_due"},
		},
		"a bin speaks for its own sensors alone": {
			{"", "silent upper, silent upper air, silent lower air", "", ""},
			{"", "silent upper, silent upper air, silent lower air", "silent upper, silent lower air", ""},
		},
		"a broker that is away speaks for the silent": {
			{"", "silent upper air", "", ""},
			{"broker", "silent upper air", "broker", ""},
			{"broker", "silent upper air", "", ""},
			{"", "silent upper air", "silent upper air", "broker"},
		},
	} {
		s := New(nil, noon)
		for i, l := range looks {
			now := noon.Add(time.Duration(i) * time.Minute)
			n := s.Look(conditions(l.own, now), conditions(l.shown, now), now)
			if diff := cmp.Diff([2]string{l.tell, l.over}, [2]string{text(n.Tell), text(n.Over)}); diff != "" {
				t.Errorf("%s, look %d, -want +got:\n%s", name, i+1, diff)
			}
		}
	}
}

// What was told before a stop has half an hour to show again: then it is one
// condition, not told twice and not over in between.
func TestOverARestart(t *testing.T) {
	t.Parallel()
	told := conditions("silent upper air, disk", noon.Add(-time.Hour))
	s := New(told, noon)
	if _, known := s.Holding(); known {
		t.Error("known before a look")
	}
	at := func(minutes int, own, shown string) News {
		now := noon.Add(time.Duration(minutes) * time.Minute)
		return s.Look(conditions(own, now), conditions(shown, now), now)
	}
	if n := at(1, "", ""); len(n.Tell)+len(n.Over) > 0 {
		t.Errorf("%+v", n)
	}
	n := at(20, "", "silent upper air")
	if len(n.Tell)+len(n.Over) > 0 || !n.Holding[0].Since.Equal(noon.Add(-time.Hour)) {
		t.Errorf("found again: %+v", n)
	}
	// Once found again, its end needs no waiting; what never showed is over then.
	at(21, "", "")
	if n := at(22, "", ""); text(n.Over) != "silent upper air" {
		t.Errorf("over: %s", text(n.Over))
	}
	if n := at(29, "", ""); len(n.Over) > 0 {
		t.Errorf("over: %s", text(n.Over))
	}
	if n := at(30, "", ""); text(n.Over) != "disk" {
		t.Errorf("over: %s", text(n.Over))
	}
}

// What begins and ends between two looks, and since when it holds.
func TestWhatHolds(t *testing.T) {
	t.Parallel()
	s := New(nil, noon)
	s.Look(nil, conditions("dimmed upper, hot lower", noon), noon)
	n := s.Look(nil, conditions("hot lower, flat upper lamp", noon.Add(time.Hour)), noon.Add(time.Hour))
	if got := text(n.Begun) + "; " + text(n.Ended) + "; " + text(n.Holding); got != "flat upper lamp; dimmed upper; hot lower, flat upper lamp" {
		t.Error(got)
	}
	holding, known := s.Holding()
	if !known || !holding[0].Since.Equal(noon) || !holding[1].Since.Equal(noon.Add(time.Hour)) {
		t.Errorf("%v %+v", known, holding)
	}
}
