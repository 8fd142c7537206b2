package report

import (
	"errors"
	"maps"
	"slices"
	"strings"

	"parstead/correlate"
	"parstead/correlate/analysis"
	"parstead/correlate/kind"
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
	return writeAll(dir, list)
}

// trialsPicture is the effects of several trials, under a heading each.
type trialsPicture struct {
	estimates
	entries []entry
	of      string
}

// comparedPictures are a picture for each treatment and outcome, then for light.
func comparedPictures(c *several.Compared) []picture {
	names := fileNames{}
	var list []picture
	d := &trialsPicture{}
	begin := func(of, words string, ratio bool) {
		if of == d.of && words == d.words {
			return
		}
		list = append(list, d.pictures(names)...)
		d = &trialsPicture{estimates{title: of + ", in several trials", words: words, ratio: ratio}, nil, of}
	}
	for i := range c.Comparisons {
		e := &c.Comparisons[i]
		words, ratio, ok := effectAxis(e)
		if len(e.Trials) < 2 || !ok {
			continue
		}
		begin(ofOutcome(e.Outcome, e.Of)+": "+e.Treatment, words, ratio)
		d.entries = append(d.entries, entry{heading: true, label: e.A + " against " + e.B})
		for _, t := range e.Trials {
			d.add(estimate{Comparison: t.Comparison, value: t.Value(), of: t.Trial})
		}
		d.addMeans(e.Pooled)
	}
	for i := range c.Light {
		s := &c.Light[i]
		words, ok := slopeAxis(s)
		if len(s.Trials) < 2 || !ok {
			continue
		}
		begin(ofOutcome(s.Outcome, s.Of)+": light", words, false)
		for _, t := range s.Trials {
			d.add(estimate{Comparison: correlate.Comparison{CI95: (*analysis.Limits)(t.CI95)}, value: t.Slope.Slope, of: t.Trial})
		}
		d.addMeans(s.Pooled)
	}
	return append(list, d.pictures(names)...)
}

// add adds a line to the list and its entry.
func (d *trialsPicture) add(l estimate) {
	d.list = append(d.list, l)
	words := "no value"
	if l.value != nil {
		words = number(*l.value)
		if l.CI95 != nil {
			words += " (" + phrase.Ends(l.CI95) + ")"
		}
	}
	d.entries = append(d.entries, entry{label: l.of, words: words, of: len(d.list) - 1})
}

func (d *trialsPicture) addMeans(p *several.PooledEffect) {
	if p == nil {
		return
	}
	beside := d.list[len(d.list)-1]
	for _, m := range []struct {
		of string
		several.PooledMean
	}{{"these trials", p.TheseTrials}, {"trials like these", p.TrialsLikeThese}} {
		d.add(estimate{Comparison: correlate.Comparison{Treatment: beside.Treatment, A: beside.A, B: beside.B, CI95: (*analysis.Limits)(m.CI95)}, value: m.Value(), of: m.of, mean: true})
	}
}

// effectAxis words the axis of an effect; ok is false where its trials do not
// have it on one.
func effectAxis(e *several.ComparedEffect) (words string, ratio, ok bool) {
	for i, t := range e.Trials {
		contrast := kind.Compared(t.Kind, t.Scale)
		ratio = contrast != kind.Difference
		is := contrast.Axis(e.Outcome, t.OutcomeUnit)
		if i > 0 && is != words {
			return "", false, false
		}
		words = is
	}
	return words, ratio, true
}

// slopeAxis is effectAxis of a slope on light.
func slopeAxis(s *several.ComparedSlope) (words string, ok bool) {
	for i, t := range s.Trials {
		of := unit(s.Outcome, t.OutcomeUnit)
		if analysed := kind.Compared(t.Kind, t.Scale).Analysed(); analysed != "" {
			of = analysed + " of " + s.Outcome
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
func (d *trialsPicture) pictures(names fileNames) []picture {
	var single []estimate // means lie among the trials, and may reach as far as they like
	d.sub = "with 95 % intervals"
	for i, l := range d.list {
		if !l.mean {
			single = append(single, l)
		}
		if i == 0 && !l.slope() {
			d.sub += ", a trial's for all pairs at once"
		}
	}
	d.sub += "; dashed: means over trials, exploratory; arrows: the interval goes on"
	d.axis = axisOver(d.ratio, worthShowing(single, d.none(), d.ratio)...)
	pages := pagesOf(d.entries)
	var list []picture
	for i, page := range pages {
		one := *d
		one.rows = layRows(page)
		list = append(list, picture{
			file: names.of(d.of, "trials"), title: d.of + " in several trials" + pageOf(i, len(pages)), of: rackWide,
			alt: one.alt(), table: one.table(true), draw: one.draw,
		})
	}
	return list
}

// alt tells what the picture shows, an effect after the other.
func (d trialsPicture) alt() string {
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
