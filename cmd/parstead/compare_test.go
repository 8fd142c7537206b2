package main

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"parstead/cmd/parstead/export"
	"parstead/cmd/parstead/racktest"
	"parstead/correlate"
	"parstead/correlate/several"
)

// Side by side, two trials have what correlate gives of each; the mean of
// ratios is geometric.
func TestCompare(t *testing.T) {
	t.Parallel()
	spring, autumn := twoSeasons(t)
	c := decoded[several.Compared](t, "compare", spring, autumn)
	if len(c.Trials) != 2 || c.Trials[0].Trial != spring || c.Trials[0].Days != 28 || c.Trials[0].LightWindow != "the whole trial" {
		t.Fatalf("%+v", c.Trials)
	}
	lines, slopes := 0, 0
	for i, dir := range []string{spring, autumn} {
		for _, o := range decoded[correlate.Result](t, "correlate", dir).Outcomes {
			for _, k := range o.Comparisons {
				at := slices.IndexFunc(c.Comparisons, func(e several.ComparedEffect) bool {
					return e.Outcome == o.Name && reflect.DeepEqual(e.Of, o.Of) && e.Treatment == k.Treatment && e.A == k.A && e.B == k.B
				})
				if at < 0 || len(c.Comparisons[at].Trials) != 2 {
					t.Fatalf("%s %v: %s against %s is not side by side", o.Name, o.Of, k.A, k.B)
				}
				if in := c.Comparisons[at].Trials[i]; in.Trial != dir || !reflect.DeepEqual(in.Comparison, k) || in.Primary != o.Primary || in.Planned != o.Planned {
					t.Errorf("%s %v, %s against %s: %+v, correlate says %+v", o.Name, o.Of, k.A, k.B, in, k)
				}
				lines++
			}
			if o.Light == nil {
				continue
			}
			at := slices.IndexFunc(c.Light, func(s several.ComparedSlope) bool { return s.Outcome == o.Name && reflect.DeepEqual(s.Of, o.Of) })
			if at < 0 || !reflect.DeepEqual(c.Light[at].Trials[i].Slope, o.Light.Slope) {
				t.Errorf("%s %v: the slope on light is another", o.Name, o.Of)
			}
			slopes++
		}
	}
	pooled := 0
	for _, e := range c.Comparisons {
		if e.Pooled == nil {
			if e.NotPooled == "" || e.Agreement != nil {
				t.Errorf("%s, %s against %s: neither pooled nor a reason", e.Outcome, e.A, e.B)
			}
			continue
		}
		pooled++
		want := math.Sqrt(*e.Trials[0].Ratio * *e.Trials[1].Ratio)
		if got := *e.Pooled.TheseTrials.Ratio; math.Abs(got/want-1) > 1e-12 || !e.Pooled.Exploratory {
			t.Errorf("%s, %s against %s: pooled %g, want %g", e.Outcome, e.A, e.B, got, want)
		}
	}
	if lines < 100 || slopes < 10 || pooled < 30 {
		t.Errorf("%d lines, %d slopes, %d pooled", lines, slopes, pooled)
	}
	pictures := filepath.Join(t.TempDir(), "both")
	status, text, talk := command(t, winter, "", "compare", spring, autumn, "--pictures", pictures)
	narrow(t, text)
	drawn, err := filepath.Glob(filepath.Join(pictures, "biomass_g-streptocarpus-medium-trials*.svg"))
	if status != 0 || err != nil || len(drawn) == 0 || !strings.Contains(talk, "Pictures: "+pictures) {
		t.Errorf("exit status %d, %d drawn, %v, %q", status, len(drawn), err, talk)
	}
}

// A daemon holds one trial's database meanwhile.
func TestCompareBesideTheDaemon(t *testing.T) {
	t.Parallel()
	spring, _, _, _ := harvestOf(t, 1)
	autumn, _, _, _ := harvestOf(t, 2)
	rewrite(t, filepath.Join(spring, "trial.toml"), func(text string) string {
		return text + "[broker]\nlisten = \"127.0.0.1:0\"\n[page]\nlisten = \"127.0.0.1:0\"\n"
	})
	before := must(t, winter, "", "compare", spring, autumn, "--json")
	beside(t, spring, racktest.NewClock(winter).Ingest())
	if meanwhile := must(t, winter, "", "compare", spring, autumn, "--json"); meanwhile != before {
		t.Error("another answer beside the daemon")
	}
}

// An export stands for its folder, to the last digit.
func TestCompareExports(t *testing.T) {
	t.Parallel()
	spring, autumn := twoSeasons(t)
	files := filepath.Join(t.TempDir(), "spring-files")
	must(t, winter, "", "export", spring, files)
	folders, exports := decoded[several.Compared](t, "compare", spring, autumn), decoded[several.Compared](t, "compare", files, autumn)
	if !exports.Trials[0].Exported || folders.Trials[0].Exported {
		t.Error("which is an export is not told")
	}
	for i, e := range folders.Comparisons {
		x := exports.Comparisons[i]
		if !reflect.DeepEqual(e.Trials[0].Comparison, x.Trials[0].Comparison) || !reflect.DeepEqual(e.Pooled, x.Pooled) || e.Trials[0].Asked != x.Trials[0].Asked {
			t.Errorf("%s, %s against %s: %+v, exported %+v", e.Outcome, e.A, e.B, e.Trials[0], x.Trials[0])
		}
	}
	for i, s := range folders.Light {
		for k, in := range s.Trials {
			x := exports.Light[i].Trials[k]
			if !reflect.DeepEqual(in.Slope, x.Slope) || in.DLI != x.DLI || math.Abs(in.ScaleError/x.ScaleError-1) > 1e-9 {
				t.Errorf("%s: %+v, exported %+v", s.Outcome, in, x)
			}
		}
	}
	small, _, _, _ := harvestOf(t, 1)
	files = filepath.Join(t.TempDir(), "small-files")
	must(t, winter, "", "export", small, files)
	status, _, talk := command(t, winter, "", "compare", small, files)
	if status != 1 || !strings.Contains(talk, "hold the same harvest: name each trial once") {
		t.Errorf("a trial and its export: exit status %d: %s", status, talk)
	}
}

// An export of earlier versions, described by a file of our own, stands for its folder
// too.
func TestCompareEarlierExports(t *testing.T) {
	t.Parallel()
	small, _, _, _ := harvestOf(t, 1)
	_, autumn := twoSeasons(t)
	files := filepath.Join(t.TempDir(), "files")
	must(t, winter, "", "export", small, files)
	want := must(t, winter, "", "compare", files, autumn, "--json")
	earlier(t, files)
	if got := must(t, winter, "", "compare", files, autumn, "--json"); got != want {
		t.Errorf("compares to something else:\n%.2000s\n%.2000s", got, want)
	}
}

// earlier puts description.json, as it was written before, in place of an export's
// descriptor.
func earlier(t *testing.T, files string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(files, export.Descriptor))
	if err != nil {
		t.Fatal(err)
	}
	var p struct {
		Resources []struct {
			Path   string
			Rows   int
			Schema *struct{ Fields []map[string]any }
		}
		Parstead map[string]any
	}
	if err := json.Unmarshal(text, &p); err != nil {
		t.Fatal(err)
	}
	type file struct {
		File    string           `json:"file"`
		Rows    int              `json:"rows"`
		Columns []map[string]any `json:"columns"`
	}
	var list []file
	for _, r := range p.Resources {
		if r.Schema != nil && r.Path != "log.csv" {
			list = append(list, file{r.Path, r.Rows, r.Schema.Fields})
		} else if r.Path == "log.csv" {
			list = append(list, file{File: r.Path, Rows: r.Rows})
		}
	}
	p.Parstead["files"] = list
	content, err := os.Open(filepath.Join(files, "log.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(content).ReadAll()
	_ = content.Close()
	if err != nil {
		t.Fatal(err)
	}
	data := map[string]json.RawMessage{}
	for _, row := range rows[1:] {
		if last := row[len(row)-1]; last != "" {
			data[row[0]] = json.RawMessage(last)
		}
	}
	p.Parstead["log_data"] = data
	text, err = json.Marshal(p.Parstead)
	if err == nil {
		err = os.WriteFile(filepath.Join(files, "description.json"), text, 0o600)
	}
	if err == nil {
		err = os.Remove(filepath.Join(files, export.Descriptor))
	}
	if err != nil {
		t.Fatal(err)
	}
}

func rewrite(t *testing.T, file string, change func(string) string) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err == nil {
		err = os.WriteFile(file, []byte(change(string(text))), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func TestCompareUsage(t *testing.T) {
	t.Parallel()
	spring, autumn := twoSeasons(t)
	old := filepath.Join(t.TempDir(), "old")
	must(t, winter, "", "export", autumn, old)
	rewrite(t, filepath.Join(old, export.Descriptor), func(text string) string { return strings.Replace(text, `"analysis"`, `"other"`, 1) })
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(spring, link); err != nil {
		t.Skip(err)
	}
	empty := t.TempDir()
	for _, c := range []struct {
		args   []string
		status int
		want   string
	}{
		{[]string{spring}, 2, "two folders or more"},
		{[]string{spring, link}, 2, "are one folder: name each trial once"},
		{[]string{spring, filepath.Join(empty, "nowhere")}, 1, "is not there: name the folder"},
		{[]string{spring, empty}, 1, empty + ": trial.toml"},
		{[]string{spring, old}, 1, "export the trial again"},
	} {
		status, out, talk := command(t, winter, "", append([]string{"compare"}, c.args...)...)
		if status != c.status || out != "" || !strings.Contains(talk, c.want) {
			t.Errorf("%q: exit status %d, %q, %q; want %d and %q", c.args, status, out, talk, c.status, c.want)
		}
	}
}
