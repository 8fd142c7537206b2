package claimsworlds

import (
	"encoding/csv"
	"reflect"
	"strings"
	"testing"
)

func TestHostileTables(t *testing.T) {
	seen := map[string]bool{}
	good := goodSheet(4, 3, 4)
	for _, h := range HostileTables() {
		if seen[h.Name] || h.Odd == "" || h.Wish == "" {
			t.Errorf("%s: twice, or not described", h.Name)
		}
		seen[h.Name] = true
		if h.CSV == "" {
			t.Errorf("%s: no text", h.Name)
		}
		if h.CSV == good.csv() && reflect.DeepEqual(h.Roles, good.roles) {
			t.Errorf("%s: nothing is odd", h.Name)
		}
		if strings.HasPrefix(h.Name, "text-") {
			continue // not meant to be clean CSV
		}
		if _, err := csv.NewReader(strings.NewReader(h.CSV)).ReadAll(); err != nil {
			t.Errorf("%s: %v", h.Name, err)
		}
	}
	if len(seen) < 60 {
		t.Errorf("only %d hostile tables", len(seen))
	}
	t.Logf("%d hostile tables", len(seen))
}
