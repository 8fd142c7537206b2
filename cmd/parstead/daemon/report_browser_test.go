package daemon

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/harvest"
	"parstead/cmd/parstead/racktest"
	"parstead/correlate"
)

// A report is read by touch and by the arrow keys, light and dark, on a phone and on a
// desk; a photo of a plant that was lost stands in it; the engine that
// PARSTEAD_ACCESSIBILITY names finds nothing in it, with all that is folded away open.
func TestAReportInABrowser(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	layout, harvested := "plant,bin,row,column,medium\n", "plant,leaves,mass_g,rooted,status,cause\n"
	for i := range 16 {
		bin, medium := []string{"upper", "lower"}[i/8], []string{"coir", "bark"}[i%2]
		layout += fmt.Sprintf("P%d,%s,%d,%d,%s\n", i+1, bin, i%8/4+1, i%4+1, medium)
		if i == 3 {
			harvested += "P4,,,,lost,rot\n"
			continue
		}
		harvested += fmt.Sprintf("P%d,%d,%d.%d,yes,harvested,\n", i+1, 5+i%5, 8+3*(i%2), i%7)
	}
	config := racktest.Text(t, dir, "trial.toml")
	racktest.WriteFiles(t, dir, map[string]string{"trial.toml": strings.ReplaceAll(config, "columns = 3", "columns = 4"), "layout.csv": layout})
	racktest.Lived(t, dir, racktest.Midday, 4, 60)
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	phone := racktest.NewPhone(t, w.PageURL(), "Ana")
	if status, says := sendPhoto(t, &phone.Client, w.PageURL(), "P4", plantPhoto(t, 90)); status != 200 {
		t.Fatal(says)
	}
	w.stop()
	racktest.WriteFiles(t, dir, map[string]string{"harvest.csv": harvested})
	h, err := harvest.Read(t.Context(), dir, racktest.Midday, false)
	if err != nil {
		t.Fatal(err)
	}
	result, err := correlate.Analyse(t.Context(), h.Input, correlate.Options{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "report")
	if err := h.WriteReport(t.Context(), func() time.Time { return racktest.Midday }, to, "", result); err != nil {
		t.Fatal(err)
	}
	b := openBrowser(t)
	for _, size := range [][2]int{{360, 740}, {1440, 900}} {
		for _, scheme := range []string{"light", "dark"} {
			at := fmt.Sprintf("%d wide, %s", size[0], scheme)
			b.call("Emulation.setEmulatedMedia", map[string]any{"features": []map[string]string{{"name": "prefers-color-scheme", "value": scheme}}}, nil)
			b.call("Emulation.setDeviceMetricsOverride", map[string]any{"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": size[0] < 500}, nil)
			b.open("file://" + filepath.Join(to, "index.html"))
			b.sees("Touch a plant to read it")
			if over := b.eval("document.documentElement.scrollWidth - document.documentElement.clientWidth"); over != "0" {
				t.Errorf("%s: %s pixels too wide", at, over)
			}
			b.eval(`for (const d of document.querySelectorAll("details")) d.open = true`)
			touched := `(() => { const title = [...document.querySelectorAll("svg path > title")].find((t) => t.textContent.startsWith("P7: ")); const figure = title.closest("figure"); ` +
				`const r = title.parentNode.getBoundingClientRect(); figure.querySelector(".scroll").dispatchEvent(new MouseEvent("click", { clientX: r.left + r.width / 2, clientY: r.top + r.height / 2 })); return figure.querySelector(".touched").textContent; })()`
			if says := b.eval(touched); !strings.HasPrefix(says, "P7: ") || !strings.Contains(says, "upper, row 2, column 3; medium coir") {
				t.Errorf("%s: touched, P7 says %q", at, says)
			}
			moved := `(() => { const box = document.querySelector("figure .touched").parentNode.querySelector(".scroll"); box.focus(); ` +
				`return ["ArrowRight", "ArrowRight"].map((key) => { box.dispatchEvent(new KeyboardEvent("keydown", { key })); return box.parentNode.querySelector(".touched").textContent.split(":")[0]; }).join(); })()`
			if plants := strings.Split(b.eval(moved), ","); len(plants) != 2 || plants[0] == plants[1] || !strings.HasPrefix(plants[1], "P") {
				t.Errorf("%s: by the arrow keys %q", at, plants)
			}
			if photo := b.eval(`(() => { const i = document.querySelector("#losses img"); return i.naturalWidth + " " + i.alt; })()`); !strings.Contains(photo, "P4, lost: rot; photo of") || strings.HasPrefix(photo, "0 ") {
				t.Errorf("%s: the photo of the lost plant is %q", at, photo)
			}
			if (size[0] == 360) == (scheme == "light") {
				b.looksOver(at)
			}
			b.picture(fmt.Sprintf("report-%d-%s", size[0], scheme))
		}
	}
	if len(b.complaints) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(b.complaints, "\n"))
	}
}

// looksOver has the engine that PARSTEAD_ACCESSIBILITY names, if any, look over the page.
func (b *browser) looksOver(at string) {
	b.tb.Helper()
	file := os.Getenv("PARSTEAD_ACCESSIBILITY")
	if file == "" {
		return
	}
	engine, err := os.ReadFile(file)
	if err != nil {
		b.tb.Fatal(err)
	}
	b.eval(string(engine) + "; ''")
	if found := b.eval(`axe.run(document, { resultTypes: ["violations"] }).then((r) => r.violations.map((v) => v.id + ": " + v.nodes.map((n) => n.target.join(" ") + " " + n.failureSummary.replace(/\s+/g, " ")).slice(0, 3).join(" | ")).join("\n"))`); found != "" {
		b.tb.Errorf("%s: %s", at, found)
	}
}
