package page

import (
	"context"
	"encoding/json"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/light/watch"
)

// The state for other programs has the agreed names, and nothing that is not known.
func TestNowForOtherPrograms(t *testing.T) {
	t.Parallel()
	state := example(t)
	state.Sensors[1].At = state.Now.Add(-time.Hour) // older than its max_gap
	state.Conditions = []watch.Condition{{Kind: watch.Dimmed, Bin: "upper", Since: state.Now.Add(-time.Hour).UTC(), Says: "It is dim.", Do: "Look."}}
	s := New(Config{State: func(context.Context) (*State, error) { return state, nil }, Log: slog.New(slog.DiscardHandler)})
	w := httptest.NewRecorder()
	s.giveNow(w, httptest.NewRequest(http.MethodGet, "/now.json", nil))
	var got map[string]any
	if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil || w.Header().Get("Content-Type") != "application/json" {
		t.Fatalf("%v: %s", err, w.Body)
	}
	bins := got["bins"].([]any)
	upper := bins[0].(map[string]any)
	positions := upper["positions"].([]any)
	delete(upper, "positions")
	delete(got, "bins")
	var want map[string]any
	text := `{"trial":"media \"trial\" & <script>","at":"2026-07-23T09:30:00Z","day":3,"days":154,"sentence":"It is dim.",
		"sensors":[{"sensor":"upper centre","measures":"lux","value":5900,"unit":"lx","at":"2026-07-23T09:29:20Z"},
			{"sensor":"upper air","measures":"temperature","unit":"°C","at":"2026-07-23T08:30:00Z"},
			{"sensor":"upper damp","measures":"humidity","value":65,"unit":"% RH","at":"2026-07-23T09:29:30Z"}],
		"conditions":[{"condition":"dimmed","bin":"upper","sensor":"","since":"2026-07-23T08:30:00Z","says":"It is dim.","do":"Look."}]}`
	if err := json.Unmarshal([]byte(text), &want); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(map[string]any{
		"bin": "upper", "dli": 1.25, "due": 1.1, "target": 4.3, "last_day": 4.25, "covered": 0.98, "source": "map", "treatments": map[string]any{"light_level": "high"},
	}, upper); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(map[string]any{"row": 1.0, "column": 2.0, "dli": 1.1, "last_day": 4.1, "error": 0.05}, positions[1]); len(positions) != 6 || d != "" {
		t.Error(d)
	}
	lower := map[string]any{"bin": "lower <b>", "covered": 0.0, "treatments": map[string]any{}, "positions": []any{map[string]any{"row": 1.0, "column": 1.0}}}
	if d := cmp.Diff(lower, bins[1]); d != "" {
		t.Error(d)
	}
}
