package daemon

import (
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"fmt"
	"net/http"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/light"
)

// contrasts lists texts whose contrast with what is behind them is under 4.5, or
// under 3 where they are large (WCAG 2.2, 1.4.3, with its formula of relative
// luminance).
const contrasts = `(() => {
	const parse = (c) => { const [r, g, b, a = 1] = c.match(/[\d.]+/g).map(Number); return { r, g, b, a }; };
	const part = (x) => (x /= 255) <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4;
	const luminance = (c) => 0.2126 * part(c.r) + 0.7152 * part(c.g) + 0.0722 * part(c.b);
	const behind = (e) => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor); if (c.a > 0) return c; } return matchMedia("(prefers-color-scheme: dark)").matches ? parse("rgb(18,18,18)") : parse("rgb(255,255,255)"); };
	const low = [];
	for (const e of document.querySelectorAll("body *")) {
		if (![...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim()) || !e.getClientRects().length || e.closest(".unseen, option, noscript")) continue;
		const style = getComputedStyle(e), a = luminance(parse(e instanceof SVGElement ? style.fill : style.color)), b = luminance(behind(e));
		const size = parseFloat(style.fontSize), large = size >= 24 || size >= 18.66 && style.fontWeight >= 700;
		const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		if (ratio < (large ? 3 : 4.5)) low.push(e.textContent.trim().slice(0, 30) + " " + ratio.toFixed(2));
	}
	return [...new Set(low)].join("; ");
})()`

// nameless lists what can be reached by keyboard and has no name for a screen
// reader, by the browser's own tree (WAI-ARIA 1.2, 5.2.8.4).
func (b *browser) nameless() (list []string) {
	b.tb.Helper()
	var tree struct {
		Nodes []struct {
			Ignored    bool
			Role, Name struct{ Value any }
			Properties []struct {
				Name  string
				Value struct{ Value any }
			}
		}
	}
	b.call("Accessibility.getFullAXTree", nil, &tree)
	if len(tree.Nodes) < 10 {
		b.tb.Errorf("the tree has %d nodes", len(tree.Nodes))
	}
	for _, n := range tree.Nodes {
		role, name := fmt.Sprint(n.Role.Value), fmt.Sprint(n.Name.Value)
		reached := false
		for _, p := range n.Properties {
			reached = reached || p.Name == "focusable" && p.Value.Value == true
		}
		if !n.Ignored && reached && role != "RootWebArea" && (name == "" || name == "<nil>") {
			list = append(list, role)
		}
	}
	return list
}

// lookedOver is a trial with all that the page can show: conditions, a bin off its
// target, counts, a loss, a move, a note and a photo.
func lookedOver(tb testing.TB) (w *watched, clock *racktest.Clock) {
	tb.Helper()
	dir := racktest.EntryTrial(tb, "[climate]\ncelsius = [16, 30]\n")
	config := strings.Replace(racktest.Text(tb, dir, "trial.toml"), "target_dli = 5.0", "target_dli = 3.0\nwater_cm = 8\nattenuation_per_m = 1.0", 1)
	racktest.WriteFiles(tb, dir, map[string]string{
		"trial.toml": strings.Replace(config, "[[treatment]]", "[[treatment]]\nname = \"shade\"\nlevels = [\"open\", \"netted\"]\nset_per = \"bin\"\n[[treatment]]", 1),
		"layout.csv": "plant;bin;row;column;medium;shade\r\nP1;upper;1;1;coir;open\r\nP2;upper;1;2;bark;open\r\nP3;lower;1;1;coir;netted\r\nP4;lower;1;2;bark;netted\r\n",
	})
	racktest.Lived(tb, dir, racktest.Midday, 4, 60)
	clock = racktest.NewClock(racktest.Midday)
	w = watchFolder(tb, dir, Options{Clock: clock.Ingest()})
	phone := racktest.NewPhone(tb, w.PageURL(), "Ana")
	phone.Stored("1 count plant=P1 outcome=leaves value=4", "2 lost plant=P4 day=2026-08-04 cause=rot", "3 move plant=P2 bin=upper row=2 column=2", "4 note kind=treated plant=P1 text=soap")
	if status, says := sendPhoto(tb, &phone.Client, w.PageURL(), "P1", plantPhoto(tb, 90)); status != http.StatusOK {
		tb.Fatal(says)
	}
	if _, err := w.db.AddEvent(tb.Context(), light.Event{Kind: light.LampCleaned, At: racktest.Midday.AddDate(0, 0, -2), Bin: "upper", Text: "wiped"}); err != nil {
		tb.Fatal(err)
	}
	racktest.Eventually(tb, "readiness", func() bool { return w.totals.ready() == nil })
	clock.Move(20 * time.Minute)
	racktest.Eventually(tb, "the conditions", func() bool { return len(w.holding()) >= 2 })
	clock.Move(time.Minute)
	return w, clock
}

// Every page fits a phone, a tablet and a desk, light and dark: nothing is moved
// sideways, keys are found by a wet thumb (48 pixels, common practice, no source),
// text stands out, and what can be reached has a name. Where
// PARSTEAD_ACCESSIBILITY names axe.min.js, that engine finds nothing either.
func TestPagesInABrowser(t *testing.T) {
	t.Parallel()
	b := openBrowser(t)
	w, _ := lookedOver(t)
	b.call("Accessibility.enable", nil, nil)
	b.open(w.PageURL() + "enter/code")
	b.sees("Entry code")
	b.write("code", "wet-hands-7")
	b.press("Go on")
	b.sees("Find a plant")
	for _, page := range []struct{ path, says string }{
		{"", "Light, bin by bin"},
		{"place/upper/1/1", "Its neighbours"},
		{"plant/P1", "Its log"},
		{"result", "kept back until every plant"},
		{"enter", "Or by its place"},
		{"enter/plant?plant=P1", "Harvest P1 for good"},
		{"enter/value?plant=P1&what=count&outcome=leaves", "⌫"},
		{"enter/photo?plant=P1", "It needs signal"},
		{"enter/bin?bin=upper", "P1"},
	} {
		for _, size := range [][2]int{{360, 740}, {768, 1024}, {1440, 900}} {
			for _, scheme := range []string{"light", "dark"} {
				at := fmt.Sprintf("/%s, %d wide, %s", page.path, size[0], scheme)
				b.call("Emulation.setEmulatedMedia", map[string]any{"features": []map[string]string{{"name": "prefers-color-scheme", "value": scheme}}}, nil)
				b.call("Emulation.setDeviceMetricsOverride", map[string]any{"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": size[0] < 500}, nil)
				b.open(w.PageURL() + page.path)
				b.sees(page.says)
				racktest.Eventually(t, "the style", func() bool { return b.eval("document.readyState") == "complete" })
				if over := b.eval("document.documentElement.scrollWidth - document.documentElement.clientWidth"); over != "0" {
					t.Errorf("%s: %s pixels too wide", at, over)
				}
				if low := b.eval(`[...document.querySelectorAll(".key, summary, input:not([type=hidden])")].filter((k) => k.getClientRects().length && k.getBoundingClientRect().height < 48).map((k) => k.innerText || k.name).join()`); low != "" {
					t.Errorf("%s: low keys %s", at, low)
				}
				if low := b.eval(contrasts); low != "" {
					t.Errorf("%s: too faint: %s", at, low)
				}
				if list := b.nameless(); len(list) > 0 {
					t.Errorf("%s: without a name: %s", at, strings.Join(list, ", "))
				}
				if (size[0] == 360) == (scheme == "light") { // the phone in daylight, the others in the dark
					b.looksOver(at)
				}
				b.picture(fmt.Sprintf("%s-%d-%s", strings.NewReplacer("/", "-", "?", "-", "=", "-", "&", "-").Replace("page-"+page.path), size[0], scheme))
			}
		}
	}
	if len(b.complaints) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(b.complaints, "\n"))
	}
	w.stop()
}

// The short bin is seen on a phone without moving the page, and the page looks again
// by itself: what is read stays where it is, what was opened stays open, and what is
// old is said to be.
func TestThePageLooksAgain(t *testing.T) {
	t.Parallel()
	b := openBrowser(t)
	w, clock := lookedOver(t)
	b.open(w.PageURL())
	b.sees("Light, bin by bin")
	racktest.Eventually(t, "the style", func() bool { return b.eval("document.readyState") == "complete" })
	bottom, err := strconv.ParseFloat(b.eval(`[...document.querySelectorAll(".bins .off")].at(-1).getBoundingClientRect().bottom`), 64)
	if err != nil || bottom > 740 {
		t.Errorf("the short bin stands %v pixels down, %v", bottom, err)
	}
	b.eval(`document.querySelector("main details").open = true; scrollTo(0, 400); document.querySelector(".grid a").focus({ preventScroll: true })`)
	before := b.eval("scrollY")
	clock.Move(61 * time.Minute)
	b.eval(`look()`)
	if now := b.eval(`document.querySelector(".trial").innerText`); !strings.Contains(now, "13:22") {
		t.Errorf("after another look the page says %q", now)
	}
	if after := b.eval("scrollY"); after != before || before == "0" {
		t.Errorf("the page moved from %s to %s", before, after)
	}
	if got := b.eval(`document.querySelector("main details").open + " " + document.activeElement.pathname`); got != "true /place/upper/1/1" {
		t.Errorf("open and in focus: %s", got)
	}
	if hidden := b.eval(`stale.hidden`); hidden != "true" {
		t.Error("a fresh page is said to be old")
	}
	w.stop()
	b.eval(`seen -= 53 * 60000; look()`)
	b.sees("No news for 53 minutes. What stands below was seen at ")
	b.picture("stale")
	if len(b.complaints) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(b.complaints, "\n"))
	}
}

// Under TLS the screens of entry open without signal too: a page that was seen once
// takes a count while the daemon is away, over a new start of the page, and it is
// stored once the daemon is back.
func TestEntryWithoutSignalUnderTLS(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	certify(t, filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem"))
	block, _ := pem.Decode([]byte(racktest.Text(t, dir, "cert.pem")))
	certificate, err := x509.ParseCertificate(block.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	key := sha256.Sum256(certificate.RawSubjectPublicKeyInfo)
	b := openBrowser(t, "--ignore-certificate-errors-spki-list="+base64.StdEncoding.EncodeToString(key[:]))
	listen := racktest.FreeAddress(t)
	config := racktest.Text(t, dir, "trial.toml")
	racktest.WriteFiles(t, dir, map[string]string{"trial.toml": strings.Replace(config, "[page]\nlisten = \"127.0.0.1:0\"", fmt.Sprintf("[page]\nlisten = %q\ncert_file = \"cert.pem\"\nkey_file = \"key.pem\"", listen), 1)})
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	base := w.PageURL()
	if !strings.HasPrefix(base, "https://") {
		t.Fatal(base)
	}
	b.open(base + "enter")
	b.sees("Entry code")
	b.write("code", "wet-hands-7")
	b.press("Go on")
	b.sees("Find a plant")
	racktest.Eventually(t, "the page is kept", func() bool { return b.eval(`caches.match("/enter").then((a) => !!a)`) == "true" })
	w.stop()
	b.open(base + "enter/value?plant=P3&what=count&outcome=leaves")
	b.sees("⌫")
	b.press("7")
	b.press("Store the count")
	b.sees("1 entry is kept on this phone and not stored yet. There is no signal to the daemon.")
	b.open(base + "enter")
	b.sees("1 entry is kept on this phone")
	w = watchFolder(t, dir, Options{Clock: clock.Ingest()})
	b.eval(`dispatchEvent(new Event("online"))`)
	b.sees("Stored: leaves 7; in counts.csv")
	if len(b.complaints) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(b.complaints, "\n"))
	}
	w.stop()
}
