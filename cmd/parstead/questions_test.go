package main

import (
	"html"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/daemon"
	"parstead/cmd/parstead/demo"
	"parstead/cmd/parstead/racktest"
	"parstead/light"
	"parstead/store"
)

var (
	links = regexp.MustCompile(`(?s)<a [^>]*href="([^"]+)"[^>]*>(.*?)</a>`)
	marks = regexp.MustCompile(`(?s)<script.*?</script>|<[^>]+>`)
)

// words is a page's text.
func words(markup string) string {
	return strings.Join(strings.Fields(html.UnescapeString(marks.ReplaceAllString(markup, " "))), " ")
}

// tap follows the link with that text on a page, as one tap does: to another page,
// or to a place of this one.
func tap(tb testing.TB, base, page, text string) string {
	tb.Helper()
	for _, m := range links.FindAllStringSubmatch(page, -1) {
		if words(m[2]) != text {
			continue
		}
		if id, here := strings.CutPrefix(m[1], "#"); here {
			_, from, ok := strings.Cut(page, `id="`+id+`"`)
			if !ok {
				tb.Fatalf("%q leads to %q, which is not there", text, m[1])
			}
			if i := strings.Index(from, "</section>"); i >= 0 {
				from = from[:i]
			}
			return words("<" + from)
		}
		status, answer := fetch(strings.TrimSuffix(base, "/") + html.UnescapeString(m[1]))
		if status != http.StatusOK {
			tb.Fatalf("%q leads to %q: %d", text, m[1], status)
		}
		return words(answer)
	}
	tb.Fatalf("there is no link %q", text)
	return ""
}

// Ten questions that growers ask, common practice, no source: each is answered on
// the first screen, above the bins' places, or one tap from it. The trial is the
// demo's shortest season, in which the pond gets less than is meant.
func TestTenQuestions(t *testing.T) {
	t.Parallel()
	world, err := demo.New(demo.Config{Seed: 3, Days: demo.MinDays})
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "demo")
	if err := world.WriteFolder(dir); err != nil {
		t.Fatal(err)
	}
	racktest.WriteFiles(t, dir, map[string]string{"trial.toml": strings.NewReplacer("127.0.0.1:1883", "127.0.0.1:0", "127.0.0.1:8620", "127.0.0.1:0").Replace(racktest.Text(t, dir, "trial.toml"))})
	until := world.Rack.Trial().Until
	stored(t, dir, world.Readings(30*time.Minute), until)
	clock := racktest.NewClock(until.Add(-3 * time.Minute))
	page := besideWith(t, dir, daemon.Options{Clock: clock.Ingest(), Analyse: answer}).PageURL()
	racktest.Eventually(t, "readiness", func() bool { status, _ := fetch(page + "ready"); return status == http.StatusOK })
	var first string
	says := func(what string) {
		racktest.Eventually(t, what, func() bool {
			clock.Move(3 * time.Second) // no state serves twice
			_, first = fetch(page)
			return strings.Contains(first, what)
		})
	}
	clock.Move(2 * time.Minute)
	says("Bin pond is short of light")
	asked(t, page, first, []question{
		{"Which bin is short of light?", "", `pond pond .* short`},
		{"Since when?", "", `Bin pond is short of light: \d+ % of what is meant, [\d.]+ of [\d.]+ mol m⁻² a day\. Since \d+ [A-Z][a-z]+, for \d+ days`},
		{"Can I trust the bin upper-left?", "upper-left", `each place ± \d+ %; readings cover \d+ % of today; light map surveyed on`},
	})
	clock.Move(2 * time.Minute)
	says("The trial has ended")
	asked(t, page, first, []question{
		{"Which medium is best?", "The result", `Streptocarpus: [^.]*(coir|pumice|bark|sphagnum)`},
		{"By how much?", "The result", `\d+ ?%|× ?\d`},
		{"Is light worth it?", "The result", `(?i)light[^.]*\d`},
		{"Which plants were lost, and why?", "Find a plant", `(?i)P\d+ in [a-z-]+: lost on \d{4}-\d\d-\d\d, (rot|pest|dried|accident|unknown)`},
		{"Is my trial big enough?", "The result", `(?i)next[^.]*\d+`},
		{"Which bin was short of light?", "", `pond pond .* short`},
		{"On how many days?", "pond", `short; off it by more than 10 % on \d+ of \d+ days`},
		{"What shall I do next?", "", `Do: read the result`},
		{"What light did plant P012 get?", "P012", `\d\.\d\d mol m⁻² a day from \d+ [A-Z][a-z]+ to \d+ [A-Z]`},
		{"Can I trust the bin upper-left?", "upper-left", `each place ± \d+ %; light map surveyed on`},
	})
}

// question is what a grower asks, the link that is tapped for it, "" for none, and what
// the answer looks like.
type question struct{ question, tap, answer string }

// asked asks questions of a page.
func asked(t *testing.T, page, first string, list []question) {
	t.Helper()
	screen, _, _ := strings.Cut(first, "<main>")
	for _, q := range list {
		text := words(screen)
		if q.tap != "" {
			text = tap(t, page, first, q.tap)
		}
		if !regexp.MustCompile(q.answer).MatchString(text) {
			t.Errorf("%s (by %q)\n%s", q.question, q.tap, text)
		}
	}
}

// stored writes readings into the folder's database.
func stored(tb testing.TB, dir string, from *light.Memory, now time.Time) {
	tb.Helper()
	w, err := store.OpenWriter(tb.Context(), dir, store.Options{Now: func() time.Time { return now }})
	if err != nil {
		tb.Fatal(err)
	}
	for sensor, s := range from.Readings {
		var group []light.Reading
		for i, ns := range s.Times {
			at := time.Unix(0, ns)
			group = append(group, light.Reading{Sensor: sensor, At: at, Arrived: at, Value: s.Values[i]})
		}
		if _, err := w.Append(tb.Context(), group); err != nil {
			tb.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		tb.Fatal(err)
	}
}
