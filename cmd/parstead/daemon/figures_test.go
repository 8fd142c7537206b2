package daemon

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"testing"

	"github.com/google/go-cmp/cmp"

	"parstead/cmd/parstead/page"
	"parstead/light"
)

// Each bin's light stands at the broker as a plain number, once for each change; what
// is no longer known is taken away, what could not be published is tried again.
func TestLightAsPlainNumbers(t *testing.T) {
	t.Parallel()
	known := page.Figure{Known: true, DLI: 2}
	bin := page.Bin{Bin: light.Bin{Name: "upper shelf"}, Cells: []page.Cell{{Today: known}, {Today: page.Figure{Known: true, DLI: 3.25}}, {}}}
	state := &page.State{Trial: "spring/1", Bins: []page.Bin{bin}}
	var broken error
	sent := map[string]string{}
	f := figures{
		state: func(context.Context) (*page.State, error) { return state, nil },
		log:   slog.New(slog.DiscardHandler),
		publish: func(topic string, payload []byte) error {
			if broken == nil {
				sent[topic] = string(payload)
			}
			return broken
		},
	}
	keep := func(want map[string]string) {
		t.Helper()
		f.keep(t.Context())
		if d := cmp.Diff(want, maps.Clone(sent)); d != "" {
			t.Error(d)
		}
		clear(sent)
	}
	broken = errors.New("away")
	keep(map[string]string{})
	broken = nil
	keep(map[string]string{"parstead/spring-1/dli/upper-shelf": "2.625", "parstead/spring-1/dli_last_day/upper-shelf": ""})
	keep(map[string]string{})
	state.Bins[0].Cells[0].Yesterday = known
	keep(map[string]string{"parstead/spring-1/dli_last_day/upper-shelf": "2.000"})
	state.Bins = nil
	keep(map[string]string{"parstead/spring-1/dli/upper-shelf": "", "parstead/spring-1/dli_last_day/upper-shelf": ""})
	keep(map[string]string{})
}
