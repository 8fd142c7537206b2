package ingest

import (
	"fmt"
	"strings"
)

// parsePointer splits a JSON Pointer into its reference tokens (RFC 6901,
// sections 3 and 4). The empty pointer is the whole document.
func parsePointer(s string) ([]string, error) {
	if s == "" {
		return nil, nil
	}
	if s[0] != '/' {
		return nil, fmt.Errorf("%q is not a JSON Pointer: it must begin with /, like /light/ppfd", s)
	}
	tokens := strings.Split(s[1:], "/")
	for i, t := range tokens {
		for at := 0; at < len(t); at++ {
			if t[at] == '~' && (at+1 == len(t) || t[at+1] != '0' && t[at+1] != '1') {
				return nil, fmt.Errorf("%q is not a JSON Pointer: write ~ as ~0 and / within a name as ~1", s)
			}
		}
		// Section 4: ~1 before ~0, so that ~01 becomes ~1 and not /.
		tokens[i] = strings.ReplaceAll(strings.ReplaceAll(t, "~1", "/"), "~0", "~")
	}
	return tokens, nil
}

// formatPointer is the inverse of parsePointer.
func formatPointer(tokens []string) string {
	var b strings.Builder
	for _, t := range tokens {
		b.WriteByte('/')
		b.WriteString(strings.ReplaceAll(strings.ReplaceAll(t, "~", "~0"), "/", "~1"))
	}
	return b.String()
}

// arrayIndex reads a reference token as an index into an array: digits without
// a leading zero (RFC 6901, section 4). It is -1 for anything else; "-" names
// the element after the last, which never exists.
func arrayIndex(token string) int {
	if token == "0" {
		return 0
	}
	if token == "" || len(token) > 9 || token[0] == '0' {
		return -1
	}
	n := 0
	for _, c := range []byte(token) {
		if c < '0' || c > '9' {
			return -1
		}
		n = n*10 + int(c-'0')
	}
	return n
}
