package account_test

import (
	"testing"

	"parstead/light"
	"parstead/light/account"
)

// A window reaches no further than the plant's days; one beside them ends before it begins.
func TestWindow(t *testing.T) {
	t.Parallel()
	day := func(s string) light.Date {
		d, err := light.ParseDate(s)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	starts, ends := day("2026-03-02"), day("2026-03-31")
	for _, c := range []struct {
		w           account.Window
		first, last string
	}{
		{account.Window{}, "2026-03-02", "2026-03-31"},
		{account.Window{First: 7}, "2026-03-02", "2026-03-08"},
		{account.Window{First: 99}, "2026-03-02", "2026-03-31"},
		{account.Window{Last: 7}, "2026-03-25", "2026-03-31"},
		{account.Window{From: day("2026-03-20"), To: day("2026-04-20")}, "2026-03-20", "2026-03-31"},
		{account.Window{From: day("2026-04-02"), To: day("2026-04-20")}, "2026-04-02", "2026-03-31"},
	} {
		if first, last := c.w.Of(starts, ends); first != day(c.first) || last != day(c.last) {
			t.Errorf("%+v: %v to %v", c.w, first, last)
		}
	}
}
