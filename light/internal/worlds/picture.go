//go:build worlds

package worlds

import (
	"fmt"
	"strings"
)

// Picture draws a map in text: each place in per cent of the brightest, with a
// shade that the eye can follow; the sensor's place is in brackets.
func (k Rack) Picture() string {
	head := fmt.Sprintf("%s %d×%d, pitch %.1f×%.1f cm, lamp %.0f cm up, CV %.0f %%, sensor %s\n",
		k.Family, k.Rows, k.Columns, k.PitchCM[0], k.PitchCM[1], k.LampCM, 100*k.CV(), k.SensorKind)
	return head + drawMap(k.True, k.Sensor) + "  " + strings.Join(k.Notes, "; ") + "\n"
}

func drawMap(m [][]float64, sensor [2]int) string {
	const shades = " .:-=+*#%@"
	top := 0.0
	for _, row := range m {
		for _, v := range row {
			top = max(top, v)
		}
	}
	var b strings.Builder
	for r, row := range m {
		b.WriteString("  ")
		for c, v := range row {
			l, e := " ", " "
			if [2]int{r, c} == sensor {
				l, e = "[", "]"
			}
			s := shades[min(9, int(v/top*10))]
			fmt.Fprintf(&b, "%s%c%3.0f%s", l, s, 100*v/top, e)
		}
		b.WriteString("\n")
	}
	return b.String()
}
