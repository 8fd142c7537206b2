package daemon

import (
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/store"
)

// Over HTTP nothing can be written where no entry code is set, asked by whatever
// method and from wherever, and no path reaches the disk.
func TestNothingIsWrittenOrReadOverHTTP(t *testing.T) {
	t.Parallel()
	dir := racktest.SmallTrial(t, "")
	w := watchFolder(t, dir, Options{})
	base := "http://" + w.page.Addr().String()
	before := w.db.LastEvent()
	ask := func(method, path, origin string) int {
		r, err := http.NewRequestWithContext(t.Context(), method, base, strings.NewReader("text=x"))
		if err != nil {
			t.Fatal(err)
		}
		r.URL.Opaque = "//" + r.URL.Host + path // as it stands, dots and all
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if origin != "" {
			r.Header.Set("Origin", origin)
		}
		answer, err := http.DefaultTransport.RoundTrip(r)
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		return answer.StatusCode
	}
	for _, method := range []string{"POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "PROPFIND"} {
		for _, path := range []string{"/", "/metrics", "/alive", "/ready", "/page.css", "/v1/readings", "/v1/events", "/enter", "/enter/code", "/enter/value"} {
			for _, origin := range []string{"", base, "http://elsewhere.example"} {
				if code := ask(method, path, origin); code != http.StatusMethodNotAllowed && code != http.StatusNotFound && code != http.StatusForbidden {
					t.Errorf("%s %s from %q: %d", method, path, origin, code)
				}
			}
		}
	}
	for _, path := range []string{
		"/trial.toml", "/readings.db", "/../trial.toml", "/%2e%2e/trial.toml", "/..%2ftrial.toml", "/page.css/../trial.toml",
		"/./readings.db", "//etc/passwd", "/%00", "/page.css%00.html", "/v1/snapshot", "/page.html", "/enter.html", "/enter/../trial.toml", "/enter/%2e%2e%2ftrial.toml",
	} {
		if code := ask("GET", path, ""); code == http.StatusOK {
			t.Errorf("GET %s: %d", path, code)
		}
	}
	if code := ask("GET", "/", ""); code != http.StatusOK {
		t.Errorf("the page itself: %d", code)
	}
	if after := w.db.LastEvent(); after != before {
		t.Errorf("%d entries were written into the log", after-before)
	}
	w.stop()
}

// What the daemon writes is its user's alone, and the folder's group's where that may
// write there.
func TestFilesAreTheirUsersAlone(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("no such rights here")
	}
	for folder, want := range map[fs.FileMode]fs.FileMode{0o755: 0o600, 0o775: 0o660} {
		t.Run(folder.String(), func(t *testing.T) {
			t.Parallel()
			out := racktest.NewOutbox(t)
			dir := racktest.SmallTrial(t, "[tell]\ndaily = \"00:00\"\n"+out.Command())
			if err := os.Chmod(dir, folder); err != nil {
				t.Fatal(err)
			}
			w := watchFolder(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
			racktest.Eventually(t, "the daily line", func() bool { short, _ := out.Messages(); return len(short) > 0 })
			told := filepath.Join(dir, toldFile)
			racktest.Eventually(t, "it to be noted", func() bool { _, err := os.Stat(told); return err == nil })
			copied := filepath.Join(dir, "copy.db")
			if err := w.db.Backup(t.Context(), copied); err != nil {
				t.Fatal(err)
			}
			for _, path := range []string{filepath.Join(dir, store.FileName), filepath.Join(dir, store.SocketName), told, copied} {
				info, err := os.Stat(path)
				if err != nil {
					t.Fatal(err)
				}
				if mode := info.Mode().Perm(); mode != want {
					t.Errorf("%s: %v, want %v", path, mode, want)
				}
			}
			w.stop()
		})
	}
}

// What arrives from strangers is shown as text: topics and payloads never reach
// the page as markup.
func TestWhatStrangersSendIsText(t *testing.T) {
	t.Parallel()
	w := watchFolder(t, racktest.SmallTrial(t, ""), Options{})
	c := w.device("<script>alert(1)</script>")
	for _, topic := range []string{"rack/<script>alert(1)</script>", "rack/upper"} {
		if token := c.Publish(topic, 1, false, "<script>alert(1)</script>"); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
			t.Fatal(token.Error())
		}
	}
	for _, path := range []string{"/", "/metrics"} {
		if body := w.get(path); strings.Contains(body, "<script>") || strings.Contains(body, "alert(1)") {
			t.Errorf("%s holds what a stranger sent", path)
		}
	}
	w.stop()
}

// A request larger than any that is due is turned away before it is read.
func TestLargeRequestsAreTurnedAway(t *testing.T) {
	t.Parallel()
	w := watchFolder(t, racktest.SmallTrial(t, ""), Options{})
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+w.page.Addr().String()+"/", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("X-Large", strings.Repeat("x", 64<<10))
	answer, err := http.DefaultTransport.RoundTrip(r)
	if err == nil {
		_ = answer.Body.Close()
		if answer.StatusCode != http.StatusRequestHeaderFieldsTooLarge {
			t.Errorf("a header of 64 KiB: %d", answer.StatusCode)
		}
	}
	if body := w.get("/alive"); !strings.Contains(body, "alive") {
		t.Error("the page is gone")
	}
	w.stop()
}
