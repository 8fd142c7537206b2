package trial

import (
	"strconv"
	"strings"
)

// meant is the mend that names, in place of its first %q or %s, the word that s was
// most likely meant to be; the usual one where there is none.
func meant(s string, words []string, mend, usual string) string {
	near, ok := nearest(s, words)
	switch {
	case !ok:
		return usual
	case strings.Contains(mend, "%q"):
		return strings.Replace(mend, "%q", strconv.Quote(near), 1)
	default:
		return strings.Replace(mend, "%s", near, 1)
	}
}

// nearest finds the word that s was most likely meant to be: equal but for
// case, or a few strokes away. Where two are equally near, neither is.
func nearest(s string, words []string) (near string, ok bool) {
	s = strings.ToLower(s)
	best := max(1, (len([]rune(s))+1)/3) + 1
	for _, word := range words {
		if longer := len(word) - len(s); max(longer, -longer) > 4*best {
			continue // too far in bytes to be near in letters
		}
		switch d := strokes(s, strings.ToLower(word)); {
		case d < best:
			near, best, ok = word, d, true
		case d == best && word != near:
			ok = false
		}
	}
	return near, ok
}

// strokes is the least number of letters to insert, drop, replace or exchange
// with their neighbour that makes b of a (the restricted Damerau–Levenshtein
// distance).
func strokes(a, b string) int {
	s, t := []rune(a), []rune(b)
	var beforeLast, last []int
	row := make([]int, len(t)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(s); i++ {
		beforeLast, last, row = last, row, make([]int, len(t)+1)
		row[0] = i
		for j := 1; j <= len(t); j++ {
			replace := last[j-1]
			if s[i-1] != t[j-1] {
				replace++
			}
			row[j] = min(last[j]+1, row[j-1]+1, replace)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				row[j] = min(row[j], beforeLast[j-2]+1)
			}
		}
	}
	return row[len(t)]
}
