package report

import (
	"crypto/sha256"
	"encoding/base64"
	"html"
	"regexp"
	"strings"
	"testing"
)

// The page runs its own script and no other: the content policy (CSP level 3, hash
// sources) knows it by its sum.
func TestThePageRunsItsOwnScriptAlone(t *testing.T) {
	t.Parallel()
	page := pageOfTrial(t, trial(t))
	scripts := regexp.MustCompile(`(?s)<script>(.*?)</script>`).FindAllStringSubmatch(page, -1)
	if len(scripts) != 1 || strings.Count(page, "<script") != 1 {
		t.Fatalf("%d scripts", strings.Count(page, "<script"))
	}
	sum := sha256.Sum256([]byte(scripts[0][1]))
	policy := regexp.MustCompile(`Content-Security-Policy" content="([^"]*)"`).FindStringSubmatch(page)
	if want := "script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"; policy == nil || !strings.HasSuffix(html.UnescapeString(policy[1]), want) {
		t.Errorf("policy %q, want at its end %q", policy, want)
	}
}

// Every plant of a picture of plants says its code, its value and its place.
func TestPlantsSayWhatTheyAre(t *testing.T) {
	t.Parallel()
	r := trial(t)
	for _, q := range r.pictures() {
		n := strings.Count(string(q.svg(true)), "<title>")
		switch {
		case strings.HasSuffix(q.file, "-light"), strings.HasSuffix(q.file, "-plant-map"):
			if o := r.outcome(q.of); n < len(o.Points) {
				t.Errorf("%s: %d of %d plants say what they are", q.file, n, len(o.Points))
			}
		case strings.HasSuffix(q.file, "-best") && n > 1:
			t.Errorf("%s: %d titles", q.file, n)
		}
	}
	o := r.outcome(0)
	row := o.Points[0].Row
	for _, want := range []string{r.Input.Plants[row] + ": " + o.Name + " ", r.Input.Bin.Levels[r.Input.Bin.Codes[row]] + ", row ", ", column "} {
		if says := o.plantWords(row); !strings.Contains(says, want) {
			t.Errorf("%q lacks %q", says, want)
		}
	}
}

// A page can change the colours of its pictures; a file keeps its own.
func TestPicturesOfAPageHaveItsColours(t *testing.T) {
	t.Parallel()
	r := trial(t)
	for _, q := range r.pictures() {
		if !strings.Contains(string(q.svg(true)), "var(--ink,#1A211F)") || strings.Contains(string(q.svg(false)), "var(") {
			t.Errorf("%s: the page's colours where they don't belong, or not where they do", q.file)
		}
	}
}

// Photos stand beside plants that were lost, twelve at most, and no other is asked for.
func TestPhotosOfLostPlants(t *testing.T) {
	t.Parallel()
	r := trial(t)
	r.Photos = func(plant string) []Photo {
		if plant != r.Input.Plants[8] { // the one that was lost
			t.Errorf("photos of %s", plant)
		}
		return make([]Photo, 20)
	}
	shots := r.photosOfLost()
	if len(shots) != mostPhotos || !strings.HasPrefix(shots[0].Says, r.Input.Plants[8]+", lost: rot; photo of ") {
		t.Errorf("%d photos: %+v", len(shots), shots)
	}
}

func pageOfTrial(t *testing.T, r Report) string {
	t.Helper()
	var page strings.Builder
	if err := r.page(&page, r.pictures()); err != nil {
		t.Fatal(err)
	}
	wellFormed(t, "the page", []byte(page.String()))
	return page.String()
}
