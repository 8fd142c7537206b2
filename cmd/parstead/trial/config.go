package trial

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"parstead/light"
	"parstead/light/account"
)

// longestTrial bounds a trial's days: more is a mistyped year.
const longestTrial = 3660

// readConfig reads trial.toml. An entry with a mistake is kept as far as it was
// understood, so that entry i of the trial stays entry i of the file.
func (l *loader) readConfig(root *table) {
	general, ok := root.table("trial")
	l.readGeneral(general)
	if ok {
		general.need("name", "timezone", "starts", "ends")
	} else if !root.has("trial") {
		l.fault(place{configFile, 1, 1}, "trial.toml has no [trial]", "add [trial] with name, timezone, starts and ends")
	}
	general.finish()

	l.readLamps(root.tables("lamp"))
	l.readBins(root.tables("bin"))
	l.readFloods(root.tables("flood"))
	l.readClimate(root.table("climate"))
	l.readSensors(root.tables("sensor"))
	l.readTreatments(root.tables("treatment"))
	l.readOutcomes(root.tables("outcome"))

	l.readBroker(root.table("broker"))
	l.readPage(root.table("page"))
	l.readTell(root.table("tell"))
	l.readBackup(root.table("backup"))
	l.readCost(root.table("cost"))
	l.readLoads(root.tables("load"))
	root.finish()
}

func (l *loader) readGeneral(t *table) {
	l.Name, _ = t.text("name", "spring media trial")
	l.Rack.Zone = zone(t)
	l.Rack.Starts, _ = t.date("starts", "2026-03-02")
	l.Rack.Ends, _ = t.date("ends", "2026-06-14")
	l.Rack.DayStarts, _ = t.clock("day_starts", "00:00")
	if l.Rack.DayStarts == light.TimeOfDay(24*time.Hour) {
		t.fault("day_starts", "day_starts can't be 24:00", `write "00:00"`)
		l.Rack.DayStarts = 0
	}
	l.AnalyseBy, _ = t.text("analyse_by", "species")
	l.Rack.OffTarget = readOffTarget(t)
	if l.hasDays() {
		switch days := l.Rack.Starts.DaysUntil(l.Rack.Ends) + 1; {
		case days < 1:
			t.fault("ends", fmt.Sprintf("the trial ends on %v, before it starts on %v", l.Rack.Ends, l.Rack.Starts), "exchange the two, or correct one")
			l.Rack.Ends = light.Date{}
		case days > longestTrial:
			t.fault("ends", fmt.Sprintf("the trial would last %d days", days), "correct the year")
			l.Rack.Ends = light.Date{}
		}
	}
	if s, ok := t.text("light_window", "first 28 days"); ok {
		window, err := parseWindow(s)
		if err == nil && l.hasDays() {
			err = fits(window, l.Rack.Starts, l.Rack.Ends)
		}
		if err != nil {
			says, _ := cutMend(err, "")
			t.fault("light_window", "light_window: "+says, `write "first 28 days", "last 28 days" or "2026-03-02..2026-03-29"`)
		}
		l.Window = window
	}
}

// offTarget is the share of a bin's target by which a day may be off it, unless
// said otherwise.
const offTarget = 0.10

// readOffTarget reads "10%" as a share.
func readOffTarget(t *table) float64 {
	share, ok := get(t, "off_target", "a share", `"10%"`, func(v any) (float64, error) {
		s, err := asText(v)
		if err != nil {
			return 0, err
		}
		number, isShare := strings.CutSuffix(s, "%")
		x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || !isShare || x <= 0 || x > 100 {
			return 0, fmt.Errorf("%q is not a share above 0%% and up to 100%%", s)
		}
		return x / 100, nil
	})
	if !ok {
		return offTarget
	}
	return share
}

// hasDays tells whether the trial's first and last day are known.
func (l *loader) hasDays() bool { return !l.Rack.Starts.IsZero() && !l.Rack.Ends.IsZero() }

// zone reads the time zone; a wrong one counts as UTC, so that times can still
// be looked at.
func zone(t *table) *time.Location {
	name, ok := t.text("timezone", "Europe/Lisbon")
	if !ok {
		return time.UTC
	}
	z, err := time.LoadLocation(name)
	if err != nil || name == "Local" {
		t.fault("timezone", fmt.Sprintf("no time zone is called %q", name), "write an IANA name such as Europe/Lisbon")
		return time.UTC
	}
	return z
}

var windowDays = regexp.MustCompile(`^(first|last) (\d{1,5}) days?$`)

func parseWindow(s string) (w account.Window, err error) {
	if from, to, ok := strings.Cut(s, ".."); ok {
		if w.From, err = light.ParseDate(strings.TrimSpace(from)); err != nil {
			return account.Window{}, err
		}
		if w.To, err = light.ParseDate(strings.TrimSpace(to)); err != nil {
			return account.Window{}, err
		}
		if w.To.Before(w.From) {
			return account.Window{}, fmt.Errorf("%v is before %v", w.To, w.From)
		}
		return w, nil
	}
	m := windowDays.FindStringSubmatch(strings.Join(strings.Fields(s), " "))
	if m == nil {
		return account.Window{}, fmt.Errorf("%q is not a choice of days", s)
	}
	days, err := strconv.Atoi(m[2])
	if err != nil || days == 0 {
		return account.Window{}, fmt.Errorf("%q is no day at all", s)
	}
	if m[1] == "first" {
		return account.Window{First: days}, nil
	}
	return account.Window{Last: days}, nil
}

// fits refuses a window that reaches out of the trial.
func fits(w account.Window, starts, ends light.Date) error {
	days := starts.DaysUntil(ends) + 1
	if w.First > days || w.Last > days {
		return fmt.Errorf("the trial has only %d days", days)
	}
	if !w.From.IsZero() && (w.From.Before(starts) || ends.Before(w.To)) {
		return fmt.Errorf("the trial runs from %v to %v only", starts, ends)
	}
	return nil
}
