package daemon

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"

	"github.com/google/go-cmp/cmp"
)

// browser is chromium without a window, driven through its debugging pipe: JSON
// objects, each ended by a zero byte.
type browser struct {
	tb      testing.TB
	in      *os.File
	out     *bufio.Reader
	last    int
	session string

	complaints []string // of the console, and what a script did not catch
}

// openBrowser opens a page 360 pixels wide. More are flags of the program.
func openBrowser(tb testing.TB, more ...string) *browser {
	tb.Helper()
	program, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1" {
			tb.Fatal("chromium is required and missing")
		}
		tb.Skip("chromium is not installed")
	}
	toRead, in, err := os.Pipe()
	if err != nil {
		tb.Fatal(err)
	}
	out, toWrite, err := os.Pipe()
	if err != nil {
		tb.Fatal(err)
	}
	home, err := os.MkdirTemp("", "browser") //nolint:usetesting // it may still write while the test ends
	if err != nil {
		tb.Fatal(err)
	}
	flags := append([]string{
		"--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--remote-debugging-pipe",
		"--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--user-data-dir=" + home,
	}, more...)
	cmd := exec.CommandContext(tb.Context(), program, append(flags, "about:blank")...)
	cmd.ExtraFiles = []*os.File{toRead, toWrite}
	cmd.Env = append(os.Environ(), "HOME="+home)
	if err := cmd.Start(); err != nil {
		tb.Fatal(err)
	}
	b := &browser{tb: tb, in: in, out: bufio.NewReader(out)}
	tb.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		for _, f := range []*os.File{toRead, toWrite, in, out} {
			_ = f.Close()
		}
		_ = os.RemoveAll(home)
	})
	var target struct{ TargetID string }
	b.call("Target.createTarget", map[string]any{"url": "about:blank"}, &target)
	var attached struct{ SessionID string }
	b.call("Target.attachToTarget", map[string]any{"targetId": target.TargetID, "flatten": true}, &attached)
	b.session = attached.SessionID
	for _, domain := range []string{"Page", "Runtime", "Log"} {
		b.call(domain+".enable", nil, nil)
	}
	b.call("Emulation.setDeviceMetricsOverride", map[string]any{"width": 360, "height": 740, "deviceScaleFactor": 2, "mobile": true}, nil)
	return b
}

// call asks the browser and waits for the answer.
func (b *browser) call(method string, params map[string]any, into any) {
	b.tb.Helper()
	b.last++
	if params == nil {
		params = map[string]any{}
	}
	text, err := json.Marshal(map[string]any{"id": b.last, "method": method, "params": params, "sessionId": b.session})
	if err != nil {
		b.tb.Fatal(err)
	}
	if b.session == "" {
		text = bytes.Replace(text, []byte(`,"sessionId":""`), nil, 1)
	}
	if _, err := b.in.Write(append(text, 0)); err != nil {
		b.tb.Fatal(err)
	}
	for {
		line, err := b.out.ReadBytes(0)
		if err != nil {
			b.tb.Fatalf("the browser has ended: %v", err)
		}
		var m struct {
			ID     int
			Method string
			Params json.RawMessage
			Result json.RawMessage
			Error  *struct{ Message string }
		}
		if err := json.Unmarshal(line[:len(line)-1], &m); err != nil {
			b.tb.Fatal(err)
		}
		switch {
		case m.Method == "Runtime.exceptionThrown", m.Method == "Log.entryAdded" && !strings.Contains(string(m.Params), `"network"`) && !strings.Contains(string(m.Params), `"level":"info"`):
			b.complaints = append(b.complaints, string(m.Params))
		case m.ID == b.last && m.Error != nil:
			b.tb.Fatalf("%s: %s", method, m.Error.Message)
		case m.ID == b.last:
			if into != nil {
				if err := json.Unmarshal(m.Result, into); err != nil {
					b.tb.Fatal(err)
				}
			}
			return
		}
	}
}

// eval is the value of a script's expression as a text.
func (b *browser) eval(script string) string {
	b.tb.Helper()
	var r struct {
		Result           struct{ Value any }
		ExceptionDetails *struct{ Exception struct{ Description string } }
	}
	b.call("Runtime.evaluate", map[string]any{"expression": script, "returnByValue": true, "awaitPromise": true}, &r)
	if r.ExceptionDetails != nil {
		return "exception: " + r.ExceptionDetails.Exception.Description
	}
	return fmt.Sprint(r.Result.Value)
}

func (b *browser) open(url string) {
	b.tb.Helper()
	b.call("Page.navigate", map[string]any{"url": url}, nil)
	racktest.Eventually(b.tb, "page, style and script", func() bool { return b.eval(`document.readyState`) == "complete" })
}

// sees waits until the page's text holds the words: a minute at most, since many
// tests may share few cores.
func (b *browser) sees(words string) {
	b.tb.Helper()
	text := ""
	for deadline := time.Now().Add(time.Minute); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		if text = b.eval("document.body?.innerText ?? ''"); strings.Contains(text, words) {
			return
		}
	}
	b.tb.Fatalf("the page does not say %q within a minute, but\n%s", words, text)
}

// touchable waits until the script takes a touch on a new screen for one of its
// own, no longer for the second of a double one.
func (b *browser) touchable() {
	b.tb.Helper()
	b.eval(`new Promise((done) => {
		const look = () => typeof shown !== "number" || performance.now() - shown > doubled ? done() : setTimeout(look, 10);
		look();
	})`)
}

// press clicks the first key or link with the words.
func (b *browser) press(words string) {
	b.tb.Helper()
	b.touchable()
	quoted, err := json.Marshal(words)
	if err != nil {
		b.tb.Fatal(err)
	}
	if got := b.eval(`(() => { const k = [...document.querySelectorAll("a, button")].find((k) => k.innerText.trim() === ` + string(quoted) + `); k?.click(); return !!k; })()`); got != "true" {
		b.tb.Fatalf("no key %q (%s) in\n%s", words, got, b.eval("document.body.innerText"))
	}
}

// write sets a field of a form.
func (b *browser) write(field, text string) {
	b.tb.Helper()
	if got := b.eval(fmt.Sprintf(`document.querySelector("main [name=%s]").value = %q`, field, text)); got != text {
		b.tb.Fatalf("field %s: %s", field, got)
	}
}

// fits demands that a phone shows the page without moving it sideways, and keys
// that a wet thumb finds: 48 pixels, common practice, no source.
func (b *browser) fits() {
	b.tb.Helper()
	racktest.Eventually(b.tb, "the style", func() bool { return b.eval("document.readyState") == "complete" })
	if wide := b.eval("document.documentElement.scrollWidth"); wide != "360" {
		b.tb.Errorf("%s is %s pixels wide", b.eval("location.href"), wide)
	}
	if low := b.eval(`[...document.querySelectorAll("main .key")].filter((k) => k.getBoundingClientRect().height < 48).map((k) => k.innerText).join()`); low != "" {
		b.tb.Errorf("%s: low keys %s", b.eval("location.href"), low)
	}
}

// picture writes what is seen into the folder that PARSTEAD_PICTURES names.
func (b *browser) picture(name string) {
	b.tb.Helper()
	folder := os.Getenv("PARSTEAD_PICTURES")
	if folder == "" {
		return
	}
	var r struct{ Data string }
	b.call("Page.captureScreenshot", map[string]any{"captureBeyondViewport": true}, &r)
	png, err := base64.StdEncoding.DecodeString(r.Data)
	if err == nil {
		err = os.WriteFile(filepath.Join(folder, name+".png"), png, 0o600)
	}
	if err != nil {
		b.tb.Fatal(err)
	}
}

// A phone's way through the bins with a browser and its script: with signal,
// without, over a reload and a restart of the daemon. Nothing is lost, nothing
// is stored twice.
func TestEntryInABrowser(t *testing.T) {
	t.Parallel()
	b := openBrowser(t)
	dir := racktest.EntryTrial(t, "")
	config := racktest.Text(t, dir, "trial.toml")
	listen := racktest.FreeAddress(t)
	racktest.WriteFiles(t, dir, map[string]string{"trial.toml": strings.Replace(config, "[page]\nlisten = \"127.0.0.1:0\"", fmt.Sprintf("[page]\nlisten = %q", listen), 1)})
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	base := "http://" + listen

	b.entersTheFirst(base)
	b.entersTheRest(base)
	b.isRefused(base)

	// Without signal, over a new start of the page too.
	w.stop()
	b.open(base + "/enter/value?plant=P3&what=count&outcome=leaves")
	b.sees("⌫")
	b.press("7")
	b.press("Store the count")
	b.sees("1 entry is kept on this phone and not stored yet. There is no signal to the daemon.")
	b.open(base + "/enter")
	b.sees("1 entry is kept on this phone")
	b.picture("kept")
	b.write("plant", "2")
	b.press("Find")
	b.sees("upper, row 1, column 2")
	b.press("leaves")
	b.sees("⌫")
	b.press("9")
	b.press("Store the count")
	b.sees("2 entries are kept on this phone")
	clock.Move(time.Hour)
	w = watchFolder(t, dir, Options{Clock: clock.Ingest()})
	b.eval(`dispatchEvent(new Event("online"))`)
	b.sees("Stored: leaves 9; in counts.csv (Ana)")
	if text := b.eval("document.querySelector('#queue').innerText"); text != "" {
		t.Errorf("still kept: %s", text)
	}
	var counts []string
	for _, line := range strings.Split(strings.TrimSpace(racktest.Text(t, dir, "counts.csv")), "\r\n")[1:] {
		_, what, _ := strings.Cut(line, ";")
		counts = append(counts, what)
	}
	if diff := cmp.Diff([]string{"P1;leaves;12", "P1;rooted;yes", "P2;leaves;2", "P3;leaves;7", "P2;leaves;9"}, counts); diff != "" {
		t.Errorf("counts, -want +got:\n%s", diff)
	}
	// A changed code asks the phone for the new one and loses nothing.
	racktest.WriteFiles(t, dir, map[string]string{"entry-code": "another\n"})
	racktest.Eventually(t, "the new code", func() bool { return b.eval(`fetch("/enter/offer.json").then((a) => String(a.status))`) == "403" })
	b.open(base + "/enter/code")
	b.sees("Entry code")
	b.write("code", "another")
	b.press("Go on")
	b.sees("Find a plant")
	if len(b.complaints) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(b.complaints, "\n"))
	}
	w.stop()
}

// entersTheFirst gives the code and a count, by keys.
func (b *browser) entersTheFirst(base string) {
	b.tb.Helper()
	b.open(base + "/enter/value?plant=P1&what=count&outcome=leaves")
	b.sees("Entry code")
	b.fits()
	b.picture("code")
	b.write("code", "wet-hands-7")
	b.write("who", "Ana")
	b.press("Go on")
	b.sees("⌫")
	b.fits()
	b.picture("value")
	if keys := b.eval(`[...document.querySelectorAll("[data-key]")].map((k) => k.dataset.key).join("")`); keys != "7894561230" {
		b.tb.Errorf("a count has the keys %s", keys)
	}
	b.press("1")
	b.press("2")
	b.press("Store the count")
	b.sees("Stored: leaves 12; in counts.csv (Ana)")
	b.sees("P2")
	b.press("Something else about P2")
	b.sees("Harvest")
	b.fits()
	b.picture("plant")
	b.press("find a plant")
	b.sees("Find a plant")
	b.fits()
	b.picture("home")
	b.press("upper")
	b.sees("P1")
	b.fits()
	b.picture("bin")
}

// entersTheRest enters a yes or a no, a loss, a move and a note.
func (b *browser) entersTheRest(base string) {
	b.tb.Helper()
	b.press("P1")
	b.sees("Harvest")
	b.press("rooted")
	b.sees("yes")
	b.fits()
	b.picture("yesno")
	b.touchable()
	b.eval(`document.querySelector("[value=yes]").click(); document.querySelector("[value=yes]").click()`)
	b.sees("Stored: rooted yes")
	b.sees("P2")
	b.open(base + "/enter/plant?plant=p4")
	b.sees("lower, row 1, column 2")
	b.press("lost")
	b.sees("What of?")
	b.fits()
	b.picture("lost")
	b.press("rot")
	b.sees("Stored: status lost, lost_on 2026-08-05, cause rot; in harvest.csv (Ana)")
	b.open(base + "/enter/plant?plant=P3")
	b.sees("lower, row 1, column 1")
	b.press("moved")
	b.sees("To which bin?")
	b.press("upper")
	b.sees("To which place of upper?")
	b.fits()
	b.picture("move")
	b.press("P1")
	b.sees("P1 stands there.")
	b.press("The two have changed places")
	b.sees("Stored: P3 to upper, row 1, column 1; P1 to lower, row 1, column 1; in moves.csv (Ana)")
	racktest.Eventually(b.tb, "the new place", func() bool {
		return b.eval(`document.querySelector("main h1 small").innerText`) == "upper, row 1, column 1"
	})
	b.fits()
	b.picture("moved")
	b.press("find a plant")
	b.press("lower")
	b.sees("P4\nlost")
	b.fits()
	b.picture("bin-fates")
	b.open(base + "/enter/plant?plant=P3")
	b.sees("upper, row 1, column 1")
	b.press("note")
	b.sees("What kind")
	b.fits()
	b.picture("note")
	b.write("kind", "treated")
	b.write("text", "soap <b>& water</b>")
	b.press("Store")
	b.sees("Stored: soap <b>& water</b> (Ana)")
}

// What is begun on the daemon's own screen stays when the script, late for want of
// signal, takes over: a text that was typed, and a key that a thumb holds down.
func TestEntryBegunBeforeTheScriptIsReady(t *testing.T) {
	t.Parallel()
	b := openBrowser(t)
	w := watchFolder(t, racktest.EntryTrial(t, ""), Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	b.open(w.PageURL() + "enter/code")
	b.sees("Entry code")
	b.write("code", "wet-hands-7")
	b.press("Go on")
	b.sees("Find a plant")
	b.call("Page.addScriptToEvaluateOnNewDocument", map[string]any{"source": `
		const real = fetch, signal = new Promise((come) => globalThis.signalComes = come);
		globalThis.fetch = (url, ...rest) => String(url).endsWith("offer.json") ? signal.then(() => real(url, ...rest)) : real(url, ...rest);
		document.addEventListener("DOMContentLoaded", () => { document.querySelector("main h1").dataset.daemons = "yes"; });`}, nil)
	daemons := func() string { return b.eval(`document.querySelector("main h1").dataset.daemons ?? "no"`) }
	b.open(w.PageURL() + "enter/note?plant=P3")
	b.sees("What kind")
	b.write("text", "typed early")
	b.eval(`signalComes(); refresh().then(() => "")`)
	b.press("Store")
	b.sees("Stored: typed early")

	b.open(w.PageURL() + "enter/plant?plant=P3")
	b.sees("Harvest")
	touch := func(kind string) {
		b.tb.Helper()
		var at struct{ X, Y float64 }
		if err := json.Unmarshal([]byte(b.eval(`(() => { const r = [...document.querySelectorAll("main a")].find((k) => k.innerText === "lost").getBoundingClientRect(); return JSON.stringify({ X: r.x + r.width / 2, Y: r.y + r.height / 2 }); })()`)), &at); err != nil {
			b.tb.Fatal(err)
		}
		b.call("Input.dispatchMouseEvent", map[string]any{"type": kind, "x": at.X, "y": at.Y, "button": "left", "clickCount": 1}, nil)
	}
	touch("mousePressed")
	if on := b.eval(`document.querySelector("main a:active")?.innerText ?? "nothing"`); on != "lost" {
		t.Fatalf("the thumb is on %s", on)
	}
	b.eval(`signalComes(); refresh().then(() => "")`)
	if got := daemons(); got != "yes" {
		t.Error("the screen changed under the thumb")
	}
	touch("mouseReleased")
	b.sees("What of?")
	if len(b.complaints) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(b.complaints, "\n"))
	}
}

// isRefused: what the daemon refuses stays on the phone until it is put right.
func (b *browser) isRefused(base string) {
	b.tb.Helper()
	b.open(base + "/enter/value?plant=P2&what=count&outcome=leaves")
	b.sees("⌫")             // the script has come
	b.write("value", "2.5") // by a keyboard
	b.press("Store the count")
	b.sees("Not stored: P2 leaves 2.5: leaves of plant P2 is 2.5, and counts are 0, 1, 2, ...")
	b.fits()
	b.picture("wrong")
	b.press("correct")
	b.sees("⌫")
	b.press("⌫")
	b.press("⌫")
	b.press("Store the count")
	b.sees("Stored: leaves 2; in counts.csv (Ana)")
}

// Without a script the same forms reach the same sheets.
func TestEntryInABrowserWithoutScript(t *testing.T) {
	t.Parallel()
	b := openBrowser(t)
	dir := racktest.EntryTrial(t, "")
	w := watchFolder(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	b.call("Emulation.setScriptExecutionDisabled", map[string]any{"value": true}, nil)
	b.open(w.PageURL() + "enter/value?plant=P1&what=harvest&outcome=mass_g")
	b.sees("Entry code")
	b.write("code", "wrong")
	b.press("Go on")
	b.sees("This is not the code.")
	b.write("code", "wet-hands-7")
	b.press("Go on")
	b.sees("mass_g in g")
	b.fits()
	b.picture("plain-value")
	b.write("value", "1,25")
	b.press("Store the harvest")
	b.sees("Stored: mass_g 1.25")
	b.sees("P2")
	b.write("value", "0x2")
	b.press("Store the harvest")
	b.sees(`Not stored: mass_g of plant P2 "0x2" is not a number`)
	b.picture("plain-wrong")
	if got, want := racktest.Text(t, dir, "harvest.csv"), "plant;date;status;lost_on;cause;mass_g\r\nP1;2026-08-05;;;;1,25\r\n"; got != want {
		t.Errorf("harvest.csv %q, want %q", got, want)
	}
	if len(b.complaints) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(b.complaints, "\n"))
	}
	w.stop()
}

// Where the sheet has the weight with the dish and the dish alone, the phone asks
// for both, with a script and without; the dish's weight stays for the next plant.
func TestEntryWithTheDish(t *testing.T) {
	t.Parallel()
	b := openBrowser(t)
	dir := racktest.EntryTrial(t, "")
	racktest.WriteFiles(t, dir, map[string]string{"harvest.csv": "plant;mass_g_gross;mass_g_tare;rooted\r\n"})
	w := watchFolder(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	b.open(w.PageURL() + "enter/plant?plant=1")
	b.sees("Entry code")
	b.write("code", "wet-hands-7")
	b.press("Go on")
	b.sees("Harvest P1 for good")
	b.open(w.PageURL() + "enter/value?plant=1&what=harvest&outcome=mass_g")
	b.sees("⌫")
	b.sees("mass_g: found at the harvest, for good")
	b.fits()
	b.picture("dish")
	b.press("7")
	b.press(".")
	b.press("5")
	b.eval(`document.querySelector("[name=tare]").focus()`)
	b.press("2")
	b.press("Store the harvest")
	b.sees("Stored: mass_g_gross 7.5, mass_g_tare 2")
	b.sees("P2")
	if dish := b.eval(`document.querySelector("[name=tare]").value`); dish != "2" {
		t.Errorf("the next plant's dish weighs %q", dish)
	}
	b.call("Emulation.setScriptExecutionDisabled", map[string]any{"value": true}, nil)
	b.open(w.PageURL() + "enter/value?plant=P2&what=harvest&outcome=mass_g")
	b.sees("The dish alone, 0 for none")
	b.write("value", "1,5")
	b.write("tare", "2")
	b.press("Store the harvest")
	b.sees("Not stored: mass_g of plant P2 weighs 1.5 with the dish and the dish alone 2; exchange the two, or correct one.")
	b.write("tare", "0,25")
	b.press("Store the harvest")
	b.sees("Stored: mass_g_gross 1.5, mass_g_tare 0.25")
	if got, want := racktest.Text(t, dir, "harvest.csv"), "plant;mass_g_gross;mass_g_tare;rooted;date\r\nP1;7,5;2;;2026-08-05\r\nP2;1,5;0,25;;2026-08-05\r\n"; got != want {
		t.Errorf("harvest.csv %q, want %q", got, want)
	}
	if len(b.complaints) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(b.complaints, "\n"))
	}
	w.stop()
}
