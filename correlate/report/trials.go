package report

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"runtime"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/plot/vg"

	"parstead/correlate"

	"parstead/correlate/phrase"
	"parstead/correlate/several"
)

// WriteCompared makes a folder with a picture for each treatment of an outcome,
// and for each slope on light, that several trials have: as SVG, PNG of
// 1920 × 1080 and CSV. Files of the same names are replaced; others are left alone.
//
// Errors: nothing that several trials have, or a folder or file that cannot be
// written.
func WriteCompared(dir string, c *several.Compared) error {
	list := comparedPictures(c)
	if len(list) == 0 {
		return errors.New("no two trials have an effect in common: there is nothing to draw")
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return fmt.Errorf("make the pictures' folder: %w", err)
	}
	var files errgroup.Group
	files.SetLimit(runtime.GOMAXPROCS(0))
	for i := range list {
		files.Go(func() error { return list[i].write(dir) })
	}
	if err := files.Wait(); err != nil {
		return fmt.Errorf("write a picture: %w", err)
	}
	return nil
}

// trialLine is one trial's part in an effect, or a mean over trials.
type trialLine struct {
	pair
	of   string // the trial, or which mean
	mean bool
}

// trialsPicture is the effects of several trials, under a heading each.
type trialsPicture struct {
	title, words string // of the picture, of its axis
	list         []trialLine
	rows         rows
	axis         axis
	none         float64
}

// comparedPictures are a picture for each treatment and outcome, then for light.
func comparedPictures(c *several.Compared) []picture {
	names := fileNames{}
	var list []picture
	var d *trialsPicture
	var entries []entry
	key := ""
	flush := func() {
		if d != nil {
			list = append(list, d.pictures(names, key, entries)...)
		}
		d, entries = nil, nil
	}
	begin := func(of, words string, none float64) {
		if d == nil || of != key || words != d.words {
			flush()
			key, d = of, &trialsPicture{title: of, words: words, none: none}
		}
	}
	for i := range c.Comparisons {
		e := &c.Comparisons[i]
		words, none, ok := effectAxis(e)
		if len(e.Trials) < 2 || !ok {
			continue
		}
		begin(fmt.Sprintf("%s: %s", ofOutcome(e.Outcome, e.Of), e.Treatment), words, none)
		entries = append(entries, entry{heading: true, label: e.A + " against " + e.B})
		for _, t := range e.Trials {
			entries = d.add(entries, trialLine{pair{t.Comparison, either(t.Difference, t.Ratio)}, t.Trial, false})
		}
		entries = d.addMeans(entries, e.Pooled)
	}
	for i := range c.Light {
		s := &c.Light[i]
		words, ok := slopeAxis(s)
		if len(s.Trials) < 2 || !ok {
			continue
		}
		begin(ofOutcome(s.Outcome, s.Of)+": light", words, 0)
		for _, t := range s.Trials {
			entries = d.add(entries, trialLine{pair{correlate.Comparison{CI95: t.CI95}, t.Slope.Slope}, t.Trial, false})
		}
		entries = d.addMeans(entries, s.Pooled)
	}
	flush()
	return list
}

// add adds a line to the list and its entry.
func (d *trialsPicture) add(entries []entry, l trialLine) []entry {
	d.list = append(d.list, l)
	words := "no value"
	if l.value != nil {
		words = number(*l.value)
		if l.CI95 != nil {
			words += " (" + phrase.Between(l.CI95) + ")"
		}
	}
	return append(entries, entry{label: l.of, words: words, of: len(d.list) - 1})
}

func (d *trialsPicture) addMeans(entries []entry, p *several.PooledEffect) []entry {
	if p == nil {
		return entries
	}
	beside := d.list[len(d.list)-1]
	for _, m := range []struct {
		of string
		several.PooledMean
	}{{"these trials", p.TheseTrials}, {"trials like these", p.TrialsLikeThese}} {
		value := either(m.Difference, either(m.Ratio, m.Slope))
		entries = d.add(entries, trialLine{pair{correlate.Comparison{Treatment: beside.Treatment, A: beside.A, B: beside.B, CI95: m.CI95}, value}, m.of, true})
	}
	return entries
}

func either(a, b *float64) *float64 {
	if a != nil {
		return a
	}
	return b
}

// effectAxis words the axis of an effect; ok is false where its trials do not
// have it on one.
func effectAxis(e *several.ComparedEffect) (words string, none float64, ok bool) {
	for i, t := range e.Trials {
		is, at := fmt.Sprintf("ratio of %s, first over second; 1 is no difference", e.Outcome), 1.0
		switch {
		case t.Kind == correlate.YesNo:
			is = fmt.Sprintf("odds ratio of %s, first against second; 1 is no difference", e.Outcome)
		case t.Kind == correlate.Measure && t.Scale == correlate.Natural:
			is, at = unit("difference in "+e.Outcome+", first less second", t.OutcomeUnit), 0
		}
		if i > 0 && is != words {
			return "", 0, false
		}
		words, none = is, at
	}
	return words, none, true
}

// slopeAxis is effectAxis of a slope on light.
func slopeAxis(s *several.ComparedSlope) (words string, ok bool) {
	for i, t := range s.Trials {
		of := unit(s.Outcome, t.OutcomeUnit)
		switch {
		case t.Kind == correlate.YesNo:
			of = "log odds of " + s.Outcome
		case t.Kind == correlate.Count || t.Scale == correlate.Log:
			of = "natural logarithm of " + s.Outcome
		}
		is := "slope of " + of + ", per mol m⁻² d⁻¹; 0 is no slope"
		if i > 0 && is != words {
			return "", false
		}
		words = is
	}
	return words, true
}

// ofOutcome is an outcome with the value of analyse_by that it is of.
func ofOutcome(name string, of map[string]string) string {
	for _, column := range slices.Sorted(maps.Keys(of)) {
		name += ", " + of[column]
	}
	return name
}

// pictures cut the lines into pages of one axis.
func (d *trialsPicture) pictures(names fileNames, of string, entries []entry) []picture {
	var pairs []pair // means lie among the trials, and may reach as far as they like
	for _, l := range d.list {
		if !l.mean {
			pairs = append(pairs, l.pair)
		}
	}
	d.axis = axisOver(d.ratio(), worthShowing(pairs, d.none, d.ratio())...)
	pages := pagesOf(entries)
	var list []picture
	for i, page := range pages {
		one := *d
		one.rows = layRows(page)
		list = append(list, picture{
			file: names.of(of, "trials"), title: of + " in several trials" + pageOf(i, len(pages)), of: rackWide,
			alt: one.alt(), table: one.table(), draw: one.draw,
		})
	}
	return list
}

func (d *trialsPicture) ratio() bool { return d.none == 1 }

func (d *trialsPicture) slopes() bool { return d.list[0].Treatment == "" }

func (d *trialsPicture) draw(p pen) {
	sub := "with 95 % intervals"
	if !d.slopes() {
		sub += ", a trial's for all pairs at once"
	}
	p.heading(d.title+", in several trials", sub+"; dashed: means over trials, exploratory; arrows: the interval goes on")
	a := d.axis.between(d.rows.left, d.rows.right)
	a.below(p, d.rows.top, d.rows.bottom, smallSize)
	a.label(p, d.rows.bottom, d.words)
	p.segment(a.at(d.none), d.rows.top, a.at(d.none), d.rows.bottom, line{ink, 2.5, []vg.Length{10, 6}})
	d.rows.each(p, func(of int, y float64) {
		l := d.list[of]
		switch {
		case l.CI95 == nil:
		case l.mean:
			low, high := max(l.CI95[0], d.axis.low), min(l.CI95[1], d.axis.high)
			p.segment(a.at(low), y, a.at(high), y, line{grey, 4, []vg.Length{8, 6}})
			if low > l.CI95[0] {
				p.arrow(a.at(low), y, -1)
			}
			if high < l.CI95[1] {
				p.arrow(a.at(high), y, 1)
			}
		default:
			interval(p, a, l.CI95[0], l.CI95[1], y, 11, hue)
		}
		switch {
		case l.value == nil:
		case l.mean:
			p.mark(1, a.at(*l.value), y, 10, grey)
		default:
			p.mark(0, a.at(*l.value), y, 11, hue)
		}
	})
}

// arrow tells that a line goes on, to the left (−1) or the right (1).
func (p pen) arrow(x, y, way float64) {
	p.fill(through(true, [2]float64{x + way*14, y}, [2]float64{x - way*6, y - 10}, [2]float64{x - way*6, y + 10}), grey)
}

// alt tells what the picture shows, an effect after the other.
func (d *trialsPicture) alt() string {
	var text strings.Builder
	text.WriteString("Lines of trials, " + d.words + ".")
	for _, e := range d.rows.entries {
		if e.heading {
			text.WriteString(" " + e.label + ":")
			continue
		}
		text.WriteString(" " + e.label + " " + e.words + ";")
	}
	return strings.TrimSuffix(text.String(), ";") + "."
}

func (d *trialsPicture) table() [][]string {
	what := map[bool]string{true: "ratio", false: "difference"}[d.ratio()]
	if d.slopes() {
		what = "slope"
	}
	rows := [][]string{{"treatment", "a", "b", "trial", what, "ci95_low", "ci95_high", "verdict"}}
	for _, e := range d.rows.entries {
		if e.heading {
			continue
		}
		l := d.list[e.of]
		low, high := ends(l.CI95)
		rows = append(rows, []string{l.Treatment, l.A, l.B, l.of, exactOf(l.value), low, high, l.Verdict})
	}
	return rows
}
