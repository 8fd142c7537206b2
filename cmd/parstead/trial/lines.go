package trial

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// alike is how many problems of a file with one mend are written out.
const alike = 4

// Lines tells each problem in a line. Of many in one file that are mended
// alike, such as a column filled wrongly, the later ones are told by their lines
// alone, or the one that caused them would be lost among them.
func Lines(problems []Problem) []string {
	type kind struct{ file, level, mend string }
	of := func(p Problem) kind { return kind{p.File, p.Level, p.Mend} }
	where := map[kind][]int{}
	for _, p := range problems {
		where[of(p)] = append(where[of(p)], p.Line)
	}
	told := map[kind]int{}
	var lines []string
	for _, p := range problems {
		k := of(p)
		told[k]++
		switch all := where[k]; {
		case told[k] < alike || len(all) <= alike:
			lines = append(lines, p.Error())
		case told[k] == alike:
			rest := all[alike-1:]
			lines = append(lines, fmt.Sprintf("%s: %s: %d more of this kind, in lines %s; %s", p.File, p.Level, len(rest), ranges(rest), p.Mend))
		}
	}
	return lines
}

// ranges writes ascending numbers as 2, 4 to 7, 9.
func ranges(numbers []int) string {
	var parts []string
	numbers = slices.Compact(slices.Clone(numbers))
	for len(numbers) > 0 {
		n := 1
		for n < len(numbers) && numbers[n] == numbers[n-1]+1 {
			n++
		}
		switch n {
		case 1:
			parts = append(parts, strconv.Itoa(numbers[0]))
		default:
			parts = append(parts, fmt.Sprintf("%d to %d", numbers[0], numbers[n-1]))
		}
		numbers = numbers[n:]
	}
	return strings.Join(parts, ", ")
}
