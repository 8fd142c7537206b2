package tables

import (
	"strings"
	"testing"
)

// No line begins with what belongs to the number before it, or ends with a sign
// that belongs to the number behind it, wherever the text is broken.
func TestLinesKeepNumbersWhole(t *testing.T) {
	t.Parallel()
	for pad := range 40 {
		var text strings.Builder
		p := NewLines(&text)
		p.Wrapped("  ", "    ", strings.Repeat("x", 30+pad)+" the difference is 12 % (95 % interval 3 % to 21 %), or 1.2 × 10⁻⁷ of it, with 5 % of error")
		if err := p.Flush(); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(text.String()) {
			if line = strings.TrimSpace(line); strings.HasPrefix(line, "%") || strings.HasSuffix(line, "×") || width(line) > lineWidth {
				t.Errorf("%d: %q", pad, line)
			}
		}
	}
}
