package layout

import (
	"fmt"
	"slices"
	"strings"

	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
	"parstead/light"
)

// Bin is what a bin was dealt, in words.
type Bin struct{ Name, Gets string }

// Bins tells of each bin what it got as a whole, what hangs over it, and how many
// plants of what it holds.
func (l *Layout) Bins(t *trial.Trial) []Bin {
	var list []Bin
	for _, bin := range t.Rack.Bins {
		var here []int
		guards := 0
		for i, at := range l.Places {
			switch {
			case at.Bin != bin.Name:
			case l.Plan.Plants[i].Guard:
				guards++
			default:
				here = append(here, i)
			}
		}
		var whole []string
		counts := []string{countOf(len(here), "plant")}
		for j, tr := range l.Plan.Treatments {
			n := make([]int, len(tr.Levels))
			for _, i := range here {
				n[l.Labels[j][i]]++
			}
			if tr.SetPer != analysis.PerPlant {
				if k := slices.Index(n, len(here)); k >= 0 && len(here) > 0 {
					whole = append(whole, tr.Name+" "+tr.Levels[k])
				}
				continue
			}
			var each []string
			for k, level := range tr.Levels {
				each = append(each, fmt.Sprintf("%s %d", level, n[k]))
			}
			counts = append(counts, tr.Name+" "+strings.Join(each, ", "))
		}
		if guards > 0 {
			counts = append(counts, countOf(guards, "guard"))
		}
		parts := append(whole, hangs(t, bin)...)
		list = append(list, Bin{bin.Name, strings.Join(append(parts, strings.Join(counts, "; ")), ". ") + "."})
	}
	return list
}

// hangs says which lamps are over a bin, when they burn and what is meant by them.
func hangs(t *trial.Trial, bin light.Bin) (parts []string) {
	for _, lamp := range t.Rack.Lamps {
		if !slices.Contains(bin.Lamps, lamp.Name) {
			continue
		}
		words := []string{"Lamp " + lamp.Name}
		for i, on := range lamp.On {
			words = append(words, fmt.Sprintf("%v to %v", on, lamp.Off[i]))
		}
		parts = append(parts, strings.Join(words, ", "))
	}
	if bin.TargetDLI > 0 {
		parts = append(parts, "Meant to get "+phrase.Given(float64(bin.TargetDLI))+" mol a day")
	}
	return parts
}

func countOf(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
