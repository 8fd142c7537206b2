package page

import (
	"encoding/json"
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// Nothing is written without the code, by whatever way.
func TestEveryWriteWithoutTheCodeIsRefused(t *testing.T) {
	t.Parallel()
	other, err := newLock("another code")
	if err != nil {
		t.Fatal(err)
	}
	with := newDoor(t, rightCode)
	right := with.cookie("")
	for name, cookie := range map[string]string{
		"none": "X: y", "blank": "Cookie: parstead_entry=", "the code itself": "Cookie: parstead_entry=" + rightCode,
		"another code's": "Cookie: parstead_entry=" + other.token("me"), "cut": right[:len(right)-2], "another name": strings.Replace(right, "=", "=A", 1),
		"dots": "Cookie: parstead_entry=...", "no base64": "Cookie: parstead_entry=a.b.!",
	} {
		for path, body := range map[string][2]string{"/enter": {countForm(anID, "12"), isForm}, "/enter/entries": {entriesOf(map[string]string{"id": anID, "what": "note", "text": "x"}), isJSON}} {
			if w := with.ask("POST", path, body[0], body[1], cookie); w.Code != http.StatusForbidden {
				t.Errorf("cookie %s, %s: %d %s", name, path, w.Code, w.Body)
			}
		}
		for _, path := range []string{"/enter", "/enter/plant?plant=P01", "/enter/offer.json"} {
			if w := with.ask("GET", path, "", cookie); w.Code != http.StatusForbidden || strings.Contains(w.Body.String(), "P02") {
				t.Errorf("cookie %s: %s is shown: %d", name, path, w.Code)
			}
		}
	}
	without := newDoor(t, "")
	for path, body := range map[string][2]string{
		"/enter": {countForm(anID, "12"), isForm}, "/enter/entries": {entriesOf(map[string]string{"id": anID, "what": "note", "text": "x"}), isJSON},
		"/enter/code": {"code=", isForm},
	} {
		w := without.ask("POST", path, body[0], body[1], right)
		if w.Code != http.StatusForbidden || !strings.Contains(html.UnescapeString(w.Body.String()), "no entry code is set") || len(w.Result().Cookies()) > 0 {
			t.Errorf("no code is set, %s: %d %s", path, w.Code, w.Body)
		}
	}
	if w := without.ask("GET", "/enter", "", right); !strings.Contains(html.UnescapeString(w.Body.String()), `code_file = "entry-code"`) || strings.Contains(w.Body.String(), "P01") {
		t.Errorf("the page does not say how to set a code: %s", w.Body)
	}
	// A changed code shuts out who had the old one.
	if err := with.server.SetCode("changed"); err != nil {
		t.Fatal(err)
	}
	if w := with.ask("POST", "/enter", countForm(anID, "12"), isForm, right); w.Code != http.StatusForbidden {
		t.Errorf("the code has changed: %d", w.Code)
	}
	if n := len(with.desk.entries()) + len(without.desk.entries()); n > 0 {
		t.Errorf("%d entries were taken in", n)
	}
}

// A browser that holds the code can't be made to write by another site.
func TestNoCrossSiteWrites(t *testing.T) {
	t.Parallel()
	d := newDoor(t, rightCode)
	phone := d.cookie("")
	writes := map[string][2]string{
		"/enter": {countForm(anID, "12"), isForm}, "/enter/entries": {entriesOf(map[string]string{"id": anID, "what": "note", "text": "x"}), isJSON},
		"/enter/code": {"code=" + rightCode, isForm},
	}
	for path, body := range writes {
		for _, from := range [][]string{
			{"Origin: http://elsewhere.example"},
			{"Origin: null"},
			{"Sec-Fetch-Site: cross-site"},
			{"Sec-Fetch-Site: same-site"},
			{"Origin: http://127.0.0.1:8621"},
			{"Origin: http://elsewhere.example", "Sec-Fetch-Site: cross-site"},
		} {
			if w := d.ask("POST", path, body[0], append(from, phone, body[1])...); w.Code != http.StatusForbidden {
				t.Errorf("%s with %v: %d", path, from, w.Code)
			}
		}
		// The kinds of content that a form elsewhere can send without asking first.
		for _, kind := range []string{"text/plain", "multipart/form-data; boundary=x", "", "application/x-www-form-urlencoded-not"} {
			if w := d.ask("POST", path, body[0], phone, "Content-Type: "+kind); w.Code != http.StatusUnsupportedMediaType {
				t.Errorf("%s as %q: %d", path, kind, w.Code)
			}
		}
		for _, method := range []string{"GET", "HEAD", "PUT", "PATCH", "DELETE", "OPTIONS"} {
			w := d.ask(method, path+"?"+countForm(anID, "12"), body[0], phone, body[1])
			if w.Header().Get("Access-Control-Allow-Origin") != "" || len(w.Result().Cookies()) > 0 {
				t.Errorf("%s %s: %v", method, path, w.Header())
			}
		}
	}
	if w := d.ask("POST", "/enter/entries", writes["/enter/entries"][0], phone, isForm); w.Code != http.StatusUnsupportedMediaType {
		t.Errorf("entries as a form: %d", w.Code)
	}
	if n := len(d.desk.entries()); n > 0 {
		t.Errorf("%d entries were taken in", n)
	}
	// The page's own requests are taken.
	for path, body := range writes {
		if w := d.ask("POST", path, body[0], phone, body[1], "Origin: http://127.0.0.1:8620", "Sec-Fetch-Site: same-origin"); w.Code >= 400 {
			t.Errorf("%s from the page itself: %d %s", path, w.Code, w.Body)
		}
	}
}

// Under TLS the machine may have a name, and the cookie stays within TLS.
func TestEntryUnderTLS(t *testing.T) {
	t.Parallel()
	d := newDoor(t, rightCode)
	const name = "TLS: rack.home.example:8620"
	w := d.ask("POST", "/enter/code", "code="+rightCode, isForm, name, "Origin: https://rack.home.example:8620")
	if w.Code != http.StatusSeeOther || !w.Result().Cookies()[0].Secure {
		t.Errorf("%d %v", w.Code, w.Result().Cookies())
	}
	if w := d.ask("POST", "/enter/code", "code="+rightCode, isForm, name, "Origin: https://elsewhere.example"); w.Code != http.StatusForbidden {
		t.Errorf("from elsewhere: %d", w.Code)
	}
	if w := d.ask("POST", "/enter/code", "code="+rightCode, isForm); w.Result().Cookies()[0].Secure {
		t.Error("a phone would not send the cookie without TLS")
	}
}

// Codes can be tried slowly only: from one address, from a network's many
// addresses, and from many networks.
func TestGuessedCodes(t *testing.T) {
	t.Parallel()
	d := newDoor(t, rightCode)
	try := func(from, code string) *httptest.ResponseRecorder {
		return d.ask("POST", "/enter/code", url.Values{"code": {code}}.Encode(), isForm, "From: "+from)
	}
	for i := range 2 * triesOfOne {
		w := try("192.168.1.5:1000", fmt.Sprint("guess", i))
		if want := map[bool]int{true: http.StatusForbidden, false: http.StatusTooManyRequests}[i < triesOfOne]; w.Code != want {
			t.Errorf("try %d: %d", i, w.Code)
		}
	}
	w := try("192.168.1.5:2000", rightCode)
	if w.Code != http.StatusTooManyRequests || w.Header().Get("Retry-After") != "180" || !strings.Contains(w.Body.String(), "try again in 3 min") {
		t.Errorf("the right code, too soon: %d %v", w.Code, w.Header())
	}
	if w := try("192.168.1.6:1000", rightCode); w.Code != http.StatusSeeOther {
		t.Errorf("another phone: %d", w.Code)
	}
	d.now = d.now.Add(triesEach)
	if w := try("192.168.1.5:2000", rightCode); w.Code != http.StatusSeeOther {
		t.Errorf("the right code, in time: %d", w.Code)
	}
	for i := range 2 * triesOfOne {
		if w := try(fmt.Sprintf("[2001:db8::%x]:1", i+1), "guess"); i >= triesOfOne && w.Code != http.StatusTooManyRequests {
			t.Errorf("address %d of one network: %d", i, w.Code)
		}
	}
	guesses := 0
	for i := range 1000 {
		if w := try(fmt.Sprintf("10.0.%d.%d:1", i/250, i%250), "guess"); w.Code == http.StatusForbidden {
			guesses++
		}
	}
	if guesses > triesInAll {
		t.Errorf("a thousand addresses had %d guesses", guesses)
	}
	// A day of guessing from everywhere.
	guesses = 0
	for i := range 24 * 60 {
		d.now = d.now.Add(time.Minute)
		if w := try(fmt.Sprintf("10.1.%d.%d:1", i/250, i%250), "guess"); w.Code == http.StatusForbidden {
			guesses++
		}
	}
	if guesses > triesInAll+24*20 {
		t.Errorf("a day had %d guesses", guesses)
	}
	if n := len(d.server.entering.tries.by); n > triesListed {
		t.Errorf("%d addresses are remembered", n)
	}
}

// Two addresses that guess without end do not keep the owner out: neither from a
// phone that is new, nor after slips, nor from one that was in before, nor from the
// machine itself.
func TestWhoGuessesKeepsNobodyOut(t *testing.T) {
	t.Parallel()
	d := newDoor(t, rightCode)
	try := func(from, code string) int {
		return d.ask("POST", "/enter/code", url.Values{"code": {code}}.Encode(), isForm, "From: "+from).Code
	}
	if code := try("192.168.1.20:1", rightCode); code != http.StatusSeeOther {
		t.Fatalf("before: %d", code)
	}
	guesses := 0
	for minute := range 24 * 60 {
		d.now = d.now.Add(time.Minute)
		for _, from := range []string{"192.168.1.66:1", "192.168.1.67:1"} {
			if try(from, "guess") == http.StatusForbidden {
				guesses++
			}
		}
		if minute%60 != 30 {
			continue
		}
		phone := fmt.Sprintf("192.168.1.%d:1", 100+minute/60)
		if code := try(phone, rightCode); code != http.StatusSeeOther {
			t.Errorf("minute %d, a new phone: %d", minute, code)
		}
		slips := fmt.Sprintf("192.168.2.%d:1", 100+minute/60)
		if code := try(slips, "slip"); code != http.StatusForbidden {
			t.Errorf("minute %d, a slip: %d", minute, code)
		}
		if code := try(slips, rightCode); code != http.StatusSeeOther {
			t.Errorf("minute %d, after a slip: %d", minute, code)
		}
		for _, known := range []string{"192.168.1.20:1", "127.0.0.1:1", "[::1]:1"} {
			if code := try(known, rightCode); code != http.StatusSeeOther {
				t.Errorf("minute %d, %s: %d", minute, known, code)
			}
		}
	}
	if guesses > triesInAll+24*20 {
		t.Errorf("a day had %d guesses", guesses)
	}
}

func TestTheRightCodeCostsNoTry(t *testing.T) {
	t.Parallel()
	d := newDoor(t, rightCode)
	for range 5 * triesInAll {
		d.cookie("me")
	}
}

func TestWritesAreBounded(t *testing.T) {
	t.Parallel()
	d := newDoor(t, rightCode)
	phone := d.cookie("")
	large := entriesOf(map[string]string{"id": anID, "what": "note", "text": strings.Repeat("x", largestBody)})
	if w := d.ask("POST", "/enter/entries", large, phone, isJSON); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("a large body: %d", w.Code)
	}
	var many []map[string]string
	for range mostEntries + 1 {
		many = append(many, map[string]string{"id": anID, "what": "note", "text": "x"})
	}
	if w := d.ask("POST", "/enter/entries", entriesOf(many...), phone, isJSON); w.Code != http.StatusBadRequest {
		t.Errorf("%d entries: %d", len(many), w.Code)
	}
	for _, body := range []string{"", "{}", "[]", "null", `{"entries":[]}`, `{"entries":[{"id":1}]}`, `{"entries":[[]]}`} {
		if w := d.ask("POST", "/enter/entries", body, phone, isJSON); w.Code != http.StatusBadRequest {
			t.Errorf("%s: %d", body, w.Code)
		}
	}
	var answer struct{ Answers []Answer }
	w := d.ask("POST", "/enter/entries", entriesOf(map[string]string{"id": "short", "what": "note"}, many[0], map[string]string{"id": anID, "what": "all"},
		map[string]string{"id": anID, "what": "note", "text": strings.Repeat("x", longestText+1)}, map[string]string{"id": anID, "what": "count", "age": "-1"},
		map[string]string{"id": anID, "what": "count", "plant": "P\x001"}, map[string]string{"id": anID, "what": "note", "text": "\u202egnirts"}), phone, isJSON)
	if err := json.Unmarshal(w.Body.Bytes(), &answer); err != nil {
		t.Fatal(err)
	}
	var states []string
	for _, a := range answer.Answers {
		states = append(states, a.State)
	}
	if diff := cmp.Diff([]string{Wrong, Stored, Wrong, Wrong, Wrong, Wrong, Wrong}, states); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
	stored := 0
	for range 3 * entriesAtOnce / mostEntries {
		if w = d.ask("POST", "/enter/entries", entriesOf(many[:mostEntries]...), phone, isJSON); w.Code == http.StatusOK {
			stored += mostEntries
		}
	}
	if stored > entriesAtOnce || w.Code != http.StatusTooManyRequests || w.Header().Get("Retry-After") == "" {
		t.Errorf("%d entries at once; the last answer %d %v", stored, w.Code, w.Header())
	}
	d.now = d.now.Add(time.Minute)
	if w = d.ask("POST", "/enter/entries", entriesOf(many[:mostEntries]...), phone, isJSON); w.Code != http.StatusOK {
		t.Errorf("a minute later: %d", w.Code)
	}
}

// Whatever is answered, no browser may run, frame, guess at or keep it; the
// program's own files alone may be kept, and are asked for again.
func TestHeadersOfEveryAnswer(t *testing.T) {
	t.Parallel()
	d := newDoor(t, rightCode)
	phone := d.cookie("")
	const other = "Origin: http://elsewhere.example"
	for _, c := range []struct {
		method, path, body string
		with               []string
		status             int
		cache              string
	}{
		{"GET", "/", "", nil, 200, "no-store"},
		{"GET", "/", "", []string{"Host: rebound.example:8620"}, 421, "no-store"},
		{"GET", "/nowhere", "", nil, 404, "no-store"},
		{"PUT", "/enter", "", nil, 405, "no-store"},
		{"GET", "/metrics", "", nil, 200, "no-store"},
		{"GET", "/ready", "", nil, 200, "no-store"},
		{"GET", "/page.css", "", nil, 200, "no-cache"},
		{"GET", "/enter.js", "", nil, 200, "no-cache"},
		{"GET", "/worker.js", "", nil, 200, "no-cache"},
		{"GET", "/enter", "", nil, 403, "no-store"},
		{"GET", "/enter", "", []string{phone}, 200, "no-store"},
		{"GET", "/enter/offer.json", "", nil, 403, "no-store"},
		{"GET", "/enter/offer.json", "", []string{phone}, 200, "no-store"},
		{"POST", "/enter", countForm(anID, "1"), []string{phone, isForm, other}, 403, "no-store"},
		{"POST", "/enter", countForm(anID, "1"), []string{phone}, 415, "no-store"},
		{"POST", "/enter", countForm(anID, "1"), []string{phone, isForm}, 303, "no-store"},
		{"POST", "/enter/entries", "{", []string{phone, isJSON}, 400, "no-store"},
		{"POST", "/enter/code", "code=wrong", []string{isForm}, 403, "no-store"},
	} {
		w := d.ask(c.method, c.path, c.body, c.with...)
		h := w.Header()
		policy := h.Get("Content-Security-Policy")
		if w.Code != c.status || h.Get("Cache-Control") != c.cache || h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Access-Control-Allow-Origin") != "" ||
			!strings.HasPrefix(policy, "default-src 'none'; ") || !strings.Contains(policy, "frame-ancestors 'none'") || strings.Contains(policy, "unsafe") {
			t.Errorf("%s %s: %d, want %d with %s: %v", c.method, c.path, w.Code, c.status, c.cache, h)
		}
	}
}

// The code leads back to a screen of entry only.
func TestLocalPath(t *testing.T) {
	t.Parallel()
	for then, want := range map[string]string{
		"": "/enter", "/": "/enter", "/enter/bin?bin=a b": "/enter/bin?bin=a+b", "//elsewhere.example/enter": "/enter",
		"http://elsewhere.example/enter": "/enter", "/enter/../metrics": "/enter", "javascript:alert(1)": "/enter", "/entering": "/enter",
		"\\\\elsewhere.example": "/enter", "/enter//elsewhere.example": "/enter//elsewhere.example", "/enter\r\nX: y": "/enter",
	} {
		if got := localPath(then); got != want {
			t.Errorf("%q leads to %q, want %q", then, got, want)
		}
	}
}
