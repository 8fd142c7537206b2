package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/tell"
	"parstead/light"
	"parstead/light/watch"
)

// daily tells the grower a line a day.
type daily struct {
	status *status
	tell   func(tell.Message)
	log    *slog.Logger
	said   time.Time // when the last line was due
}

// say has the day's line told once its hour has come and it is known what is
// wrong. A restart says the same line of the same hour, which the teller knows.
func (d *daily) say(ctx context.Context, now time.Time) {
	t := d.status.trial()
	if t.Tell == nil || t.Tell.Daily == nil {
		return
	}
	if _, known := d.status.conditions.list(); !known {
		return
	}
	due := t.Tell.Daily.On(light.DateOf(now.In(t.Rack.Zone)), t.Rack.Zone)
	if now.Before(due) || due.Equal(d.said) {
		return
	}
	s, err := d.status.get(ctx)
	if err != nil {
		if ctx.Err() == nil {
			d.log.Error("daily line not made", "error", err)
		}
		return
	}
	d.said = due
	d.tell(tell.Message{Trial: t.Name, Condition: watch.Condition{Kind: tell.DailyLine, Since: due.UTC(), Says: dailyLine(s)}})
}

// dailyLine says in one line how many sensors are heard, what light the last
// day gave against what was meant, and what is wrong.
func dailyLine(s *page.State) string {
	heard := 0
	for _, x := range s.Sensors {
		if x.Lately(s.Now) {
			heard++
		}
	}
	parts := []string{fmt.Sprintf("%d of %d sensors heard", heard, len(s.Sensors))}
	var bins []string
	for _, b := range s.Bins {
		bins = append(bins, b.Name+" "+lastDay(b))
	}
	if len(bins) > 0 {
		parts = append(parts, fmt.Sprintf("light of %s, mol m⁻² d⁻¹: %s", s.Day.Add(-1), strings.Join(bins, ", ")))
	}
	var wrong []string
	for _, c := range s.Conditions {
		wrong = append(wrong, strings.Join(strings.Fields(string(c.Kind)+" "+c.Bin+" "+c.Sensor), " "))
	}
	if len(wrong) == 0 {
		wrong = []string{"nothing is wrong"}
	}
	return strings.Join(append(parts, strings.Join(wrong, ", ")), "; ") + "."
}

func lastDay(b page.Bin) string {
	sum, n := 0.0, 0
	for _, c := range b.Cells {
		if c.Yesterday.Known {
			sum, n = sum+float64(c.Yesterday.DLI), n+1
		}
	}
	if n == 0 {
		return "not known"
	}
	text := fmt.Sprintf("%.2f", sum/float64(n))
	if b.TargetDLI > 0 {
		text += fmt.Sprintf(" of %.2f", b.TargetDLI)
	}
	return text
}
