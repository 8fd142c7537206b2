package export

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/harvest"
)

// Whatever stands in an export's files, it is read or refused with a reason.
func FuzzExport(f *testing.F) {
	old := `{"trial":"t","timezone":"UTC","day_starts":"00:00","starts":"2026-03-02","ends":"2026-03-30",
"files":[{"file":"plants.csv","columns":[{"name":"plant"},{"name":"bin"},{"name":"row"},{"name":"column"},{"name":"guard"},{"name":"medium","name_in_trial":"medium"},
{"name":"light_dli"},{"name":"light_relative_error"},{"name":"light_independent_error"},{"name":"light_source"},{"name":"y","name_in_trial":"y"},
{"name":"status"},{"name":"date"},{"name":"cause"},{"name":"leave_out"}]},{"file":"log.csv","rows":1}],
"analysis":{"light_window":{"first":7},"bins":[{"name":"a","rows":2,"columns":2,"block":"b"}],
"treatments":[{"name":"medium","levels":["bark","coir"],"set_per":"plant"}],"outcomes":[{"name":"y","kind":"measure","scale":"log","primary":true,"only":{"medium":"bark"}}]},
"log_data":{"1":{"layout":{},"outcomes":[{"name":"y","kind":"measure"}]}}}`
	plants := "plant,bin,row,column,guard,medium,light_dli,light_relative_error,light_independent_error,light_source,y,status,date,cause,leave_out\n" +
		"P1,a,1,1,,bark,5,0.1,0.05,map,3.5,harvested,2026-03-29,,\nP2,a,1,2,,coir,6,0.1,0.05,map,4,harvested,2026-03-29,,\nP3,a,2,2,yes,,,,,,,,,,\n"
	log := "id,at,kind,withdraws\n1,2026-03-01T10:00:00Z,dealt,\n"
	description := `{"profile":"data-package","resources":[{"path":"plants.csv","schema":{"fields":[{"name":"plant"},{"name":"bin"},{"name":"row"},{"name":"column"},{"name":"guard"},
{"name":"medium","name_in_trial":"medium"},{"name":"light_dli"},{"name":"light_relative_error"},{"name":"light_independent_error"},{"name":"light_source"},{"name":"y","name_in_trial":"y"},
{"name":"status"},{"name":"date"},{"name":"cause"},{"name":"leave_out"}]}},{"path":"log.csv","rows":1,"schema":{"fields":[{"name":"data"}]}}],"parstead":` + old + `}`
	f.Add(description, plants, log)
	f.Add(description, plants, "id,at,kind,withdraws,data\n1,2026-03-01T10:00:00Z,dealt,,\"{\"\"outcomes\"\":[]}\"\n")
	f.Add(old, plants, log)
	f.Add(strings.Replace(description, `"kind":"measure"`, `"kind":"yes_no"`, 1), strings.ReplaceAll(plants, ",3.5,", ",yes,"), log)
	f.Add(strings.Replace(description, `"rows":2`, `"rows":-2`, 1), strings.ReplaceAll(plants, "2026-03-29", "29.3."), "id\n")
	f.Add(`{"analysis":{}}`, "plant\n", "")
	f.Fuzz(func(t *testing.T, description, plants, log string) {
		if len(description)+len(plants)+len(log) > 1<<14 {
			t.Skip("long")
		}
		dir := t.TempDir()
		name := Descriptor
		if !strings.Contains(description, `"parstead"`) {
			name = "description.json"
		}
		for name, text := range map[string]string{name: description, "plants.csv": plants, "log.csv": log} {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		x, err := Read(dir)
		if err != nil {
			if err.Error() == "" {
				t.Error("refused without a reason")
			}
			return
		}
		h, err := harvest.Of(x.Trial, x.Lights, x.Log, time.Now(), false)
		if err != nil && err.Error() == "" {
			t.Error("refused without a reason")
		}
		if in := h.Input; len(in.Plants) != len(x.Trial.Plants) || len(in.Outcomes) != len(x.Trial.Outcomes) {
			t.Error("plants or outcomes are lost")
		}
	})
}
