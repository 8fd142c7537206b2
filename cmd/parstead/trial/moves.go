package trial

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"parstead/light"
)

// plantMove is a move with its place in moves.csv.
type plantMove struct {
	Move
	where place
}

// trialTime reads a time within the trial.
func (l *loader) trialTime(clock *Clock, c cell) (t time.Time, ok bool) {
	if c.blank() {
		l.fault(c.at, "the time is blank", timeMend)
		return t, false
	}
	t, err := clock.Parse(c.text)
	if err != nil {
		says, mend := cutMend(err, timeMend)
		l.fault(c.at, says, mend)
		return t, false
	}
	if l.hasDays() && (t.Before(l.Rack.Trial().From) || !t.Before(l.Rack.Trial().Until)) {
		l.fault(c.at, fmt.Sprintf("%s lies outside the trial, %v to %v", c.text, l.Rack.Starts, l.Rack.Ends), "correct the time, or the trial's days in "+configFile)
		return t, false
	}
	return t, true
}

// movesSheet tells which plants changed place.
var movesSheet = sheetKind{
	name: MovesSheet, needed: []string{"time", "plant", "bin", "row", "column"}, known: remarks,
	read: func(l *loader, s *sheet, _ bool) {
		if s != nil {
			l.readMoves(s)
		}
		l.placeStays()
	},
	rests: 4,
	entry: entryKind{
		headings: []string{"time", "plant", "bin", "row", "column"},
		says: func(v map[string]string) string {
			return fmt.Sprintf("%s to %s, row %s, column %s", v["plant"], v["bin"], v["row"], v["column"])
		},
	},
}

func (l *loader) readMoves(s *sheet) {
	if !l.Dealt && !l.incomplete {
		l.fault(place{file: s.file, line: 1, column: 1}, "plants were moved, but there is no layout.csv that says where they stood", "add layout.csv, or remove "+s.file)
		return
	}
	clock := Clock{Zone: l.Rack.Zone}
	for i, code := range l.codes(s) {
		r := s.rows[i]
		at, timed := l.trialTime(&clock, r.cell("time"))
		p := l.knownPlant(r, code)
		position, ok := l.position(r)
		if !timed || p == nil || !ok {
			continue
		}
		gone := p.leaves
		if l.hasDays() {
			gone = l.Rack.Day(p.Date).Until
		}
		if !at.Before(gone) {
			l.fault(r.at, fmt.Sprintf("the plant %s is moved after it was gone, on %v", code, p.Date), "correct the time, or the plant's date in harvest.csv")
			continue
		}
		if j := slices.IndexFunc(p.moves, func(m plantMove) bool { return m.At.Equal(at) }); j >= 0 {
			l.fault(r.at, fmt.Sprintf("the plant %s is moved twice at one time: also in line %d", code, p.moves[j].where.line), "correct a time, or remove a line")
			continue
		}
		m := plantMove{Move{at, code, position}, r.at}
		p.moves = append(p.moves, m)
		l.Moves = append(l.Moves, m.Move)
	}
	for _, code := range l.order {
		slices.SortFunc(l.plants[code].moves, func(a, b plantMove) int { return a.At.Compare(b.At) })
	}
	slices.SortStableFunc(l.Moves, func(a, b Move) int { return a.At.Compare(b.At) })
}

// stay is a plant's stretch at one position, for finding two plants at one.
type stay struct {
	light.Stay
	plant string
	since place // the line that put it there
}

// placeStays gives every plant the positions it held, and complains where two
// plants hold one at one time. Light counts to the end of a plant's last day;
// its position is free for another from that day's start.
func (l *loader) placeStays() {
	if !l.hasDays() {
		return
	}
	trial := l.Rack.Trial()
	held := map[light.Position][]stay{}
	for _, code := range l.order {
		p := l.plants[code]
		if p.Place == (light.Position{}) {
			continue
		}
		last := l.Rack.Day(p.Date).Until
		from, position, since := trial.From, p.Place, p.at
		for i := 0; i <= len(p.moves); i++ {
			until, free := last, p.leaves
			if i < len(p.moves) {
				until, free = p.moves[i].At, p.moves[i].At
				if free.After(p.leaves) {
					free = p.leaves // moved on its last day
				}
			}
			if from.Before(until) {
				p.Stays = append(p.Stays, light.Stay{Position: position, During: light.Span{From: from, Until: until}})
			}
			if from.Before(free) {
				held[position] = append(held[position], stay{light.Stay{Position: position, During: light.Span{From: from, Until: free}}, code, since})
			}
			if i < len(p.moves) {
				from, position, since = p.moves[i].At, p.moves[i].Position, p.moves[i].where
			}
		}
	}
	for position, stays := range held {
		l.checkAlone(position, stays)
	}
}

// checkAlone complains of stays at one position that overlap.
func (l *loader) checkAlone(position light.Position, stays []stay) {
	slices.SortStableFunc(stays, func(a, b stay) int {
		return cmp.Or(a.During.From.Compare(b.During.From), cmp.Compare(a.since.line, b.since.line))
	})
	for i, s := range stays {
		for _, earlier := range stays[:i] {
			if earlier.During.Overlaps(s.During) {
				l.fault(s.since, fmt.Sprintf("the plants %s and %s stand at one place, %v, from %s on",
					earlier.plant, s.plant, position, s.During.From.In(l.Rack.Zone).Format("2006-01-02 15:04")), "correct a place, or write down when one was moved or lost")
				break
			}
		}
	}
}
