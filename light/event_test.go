package light_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/light"
)

func TestStanding(t *testing.T) {
	t.Parallel()
	at := func(h int) time.Time { return time.Date(2026, 3, 2, h, 0, 0, 0, time.UTC) }
	log := []light.Event{
		{ID: 1, At: at(9), Kind: light.LampMoved},
		{ID: 2, At: at(7), Kind: light.Other}, // entered later, happened earlier
		{ID: 3, At: at(8), Kind: light.Ignore},
		{ID: 4, At: at(10), Kind: light.Withdrawn, Withdraws: 1},
		{ID: 5, At: at(11), Kind: light.Withdrawn, Withdraws: 3},
		{ID: 6, At: at(12), Kind: light.Withdrawn, Withdraws: 5}, // 3 was right after all
		{ID: 7, At: at(6), Kind: light.Treated, Withdraws: 2},    // takes 2's place
		{ID: 8, At: at(13), Kind: light.Other, Withdraws: 9},     // nothing yet
		{ID: 9, At: at(14), Kind: light.Other},
	}
	ids := func(events []light.Event) (ids []uint64) {
		for _, e := range events {
			ids = append(ids, e.ID)
		}
		return ids
	}
	if diff := cmp.Diff([]uint64{7, 3, 8, 9}, ids(light.Standing(log))); diff != "" {
		t.Error(diff)
	}
	if log[0].ID != 1 || log[8].ID != 9 {
		t.Error("the log itself was reordered")
	}
}

func TestParseKind(t *testing.T) {
	t.Parallel()
	if k, err := light.ParseKind("lamp_moved"); err != nil || !k.EndsMap() {
		t.Errorf("lamp_moved: %v, %v", k, err)
	}
	for _, bad := range []string{"", "withdrawn", "dealt", "Lamp_moved"} {
		if _, err := light.ParseKind(bad); err == nil {
			t.Errorf("a grower may write kind %q", bad)
		}
	}
}
