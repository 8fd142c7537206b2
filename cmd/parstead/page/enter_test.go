package page

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"html"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus"
)

// fakeDesk keeps what it is given. An entry whose value is "wrong" or "later" is
// answered so.
type fakeDesk struct {
	mu    sync.Mutex
	offer Offer
	fails error
	taken []Entry
	who   []string
}

func newDesk() *fakeDesk {
	return &fakeDesk{offer: Offer{
		Trial: `media "trial" & <script>`, Today: "2026-07-23", Bins: []Grid{{"upper", 1, 3}, {"lower <b>", 1, 2}},
		Plants: []Plant{
			{Code: "P01", Bin: "upper", Row: 1, Column: 1, Outcomes: []string{"leaves", "mass_g", "rooted"}, Values: map[string]string{"mass_g": "1.5"}, Date: "2026-07-22"},
			{Code: "P02", Bin: "upper", Row: 1, Column: 2, Outcomes: []string{"leaves", "mass_g"}, Fate: "lost"},
			{Code: `<i>"3`, Bin: "upper", Row: 1, Column: 3, Outcomes: []string{"leaves", "mass_g"}},
			{Code: "Q01", Bin: "lower <b>", Row: 1, Column: 1, Outcomes: []string{"leaves", "mass_g"}},
		},
		Outcomes: []Outcome{{"leaves", "count", "", false}, {"mass_g", "measure", "g", true}, {"rooted", "yes_no", "", true}},
		Causes:   []string{"rot", "accident"}, Kinds: []string{"other", "lamp_moved"}, Sensors: []string{"upper light"},
	}}
}

func (d *fakeDesk) Offer(context.Context) (*Offer, error) { return &d.offer, d.fails }

func (d *fakeDesk) Take(_ context.Context, who string, entries []Entry) []Answer {
	d.mu.Lock()
	defer d.mu.Unlock()
	var answers []Answer
	for _, e := range entries {
		a := Answer{ID: e.ID, State: Stored, Says: e.What + " " + e.Value}
		if e.Value == Wrong || e.Value == Later {
			a.State, a.Says = e.Value, "The value is <wrong>; write another."
		} else {
			d.taken, d.who = append(d.taken, e), append(d.who, who)
		}
		answers = append(answers, a)
	}
	return answers
}

func (d *fakeDesk) Stored(id string) (Answer, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, e := range d.taken {
		if e.ID == id {
			return Answer{ID: id, State: Stored, Says: e.What + " " + e.Value}, true
		}
	}
	return Answer{}, false
}

func (d *fakeDesk) entries() []Entry {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.taken
}

const rightCode = "wet-hands-7"

// door is a server with a desk, a code and a clock that a test moves.
type door struct {
	tb     testing.TB
	desk   *fakeDesk
	server *Server
	handle http.Handler
	now    time.Time
}

func newDoor(tb testing.TB, code string) *door {
	tb.Helper()
	d := &door{tb: tb, desk: newDesk(), now: time.Date(2026, 7, 23, 10, 0, 0, 0, time.UTC)}
	state := example(tb)
	d.server = New(Config{
		State: func(context.Context) (*State, error) { return state, nil }, Ready: func() error { return nil },
		Gatherer: prometheus.NewRegistry(), Desk: d.desk, Now: func() time.Time { return d.now }, Log: slog.New(slog.DiscardHandler),
	})
	if err := d.server.SetCode(code); err != nil {
		tb.Fatal(err)
	}
	d.handle = d.server.guard(d.server.routes(), address("127.0.0.1:8620"))
	return d
}

type address string

func (address) Network() string  { return "tcp" }
func (a address) String() string { return string(a) }

// ask sends a request; headers are "Name: value". "TLS: NAME" asks over TLS.
func (d *door) ask(method, path, body string, headers ...string) *httptest.ResponseRecorder {
	d.tb.Helper()
	r := httptest.NewRequestWithContext(d.tb.Context(), method, "http://127.0.0.1:8620/", strings.NewReader(body))
	u, err := url.ParseRequestURI(path)
	if err != nil {
		d.tb.Skip("no path")
	}
	r.URL.Path, r.URL.RawQuery, r.RequestURI = u.Path, u.RawQuery, path
	for _, h := range headers {
		name, value, _ := strings.Cut(h, ": ")
		switch name {
		case "From":
			r.RemoteAddr = value
		case "TLS":
			r.TLS, r.Host = &tls.ConnectionState{}, value
		default:
			r.Header.Set(name, value)
		}
	}
	w := httptest.NewRecorder()
	d.handle.ServeHTTP(w, r)
	return w
}

const (
	isForm = "Content-Type: " + formType
	isJSON = "Content-Type: " + jsonType
)

// cookie gives the code and returns the header that a phone then sends.
func (d *door) cookie(who string) string {
	d.tb.Helper()
	w := d.ask("POST", "/enter/code", url.Values{"code": {rightCode}, "who": {who}, "then": {"/enter/bin?bin=upper"}}.Encode(), isForm)
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/enter/bin?bin=upper" {
		d.tb.Fatalf("the right code: %d %s", w.Code, w.Body)
	}
	c := w.Result().Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/enter" || strings.Contains(c.Value, rightCode) {
		d.tb.Errorf("cookie %v", c)
	}
	return "Cookie: " + c.Name + "=" + c.Value
}

const anID = "0123456789abcdef"

func countForm(id, value string) string {
	return url.Values{"id": {id}, "what": {"count"}, "plant": {"P01"}, "outcome": {"leaves"}, "value": {value}, "next": {"Q01"}}.Encode()
}

func entriesOf(parts ...map[string]string) string {
	text, err := json.Marshal(requestEntries{parts})
	if err != nil {
		panic(err)
	}
	return string(text)
}

func TestEntryByForm(t *testing.T) {
	t.Parallel()
	d := newDoor(t, rightCode)
	if w := d.ask("GET", "/enter/value?plant=P01&what=count&outcome=leaves", ""); w.Code != http.StatusForbidden || !strings.Contains(w.Body.String(), `value="/enter/value?outcome=leaves&amp;plant=P01&amp;what=count"`) {
		t.Errorf("without the code: %d %s", w.Code, w.Body)
	}
	phone := d.cookie("Ana")
	screen := d.ask("GET", "/enter/value?plant=P01&what=count&outcome=leaves", "", phone).Body.String()
	for _, want := range []string{`inputmode="numeric"`, ">P01 <small>upper, row 1, column 1", `name="next" value="&lt;i&gt;&#34;3"`, ">Ana</a>"} {
		if !strings.Contains(screen, want) {
			t.Errorf("the screen has no %s:\n%s", want, screen)
		}
	}
	w := d.ask("POST", "/enter", countForm(anID, " 12 "), isForm, phone)
	if w.Code != http.StatusSeeOther {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	want := []Entry{{ID: anID, What: Count, Plant: "P01", Outcome: "leaves", Value: "12"}}
	if diff := cmp.Diff(want, d.desk.entries()); diff != "" || d.desk.who[0] != "Ana" {
		t.Errorf("by %q, -want +got:\n%s", d.desk.who, diff)
	}
	if next := d.ask("GET", w.Header().Get("Location"), "", phone).Body.String(); !strings.Contains(next, "Stored: count 12") || !strings.Contains(next, ">Q01 <small>") {
		t.Errorf("the next screen:\n%s", next)
	}
	// What can't be stored stands on the screen again, with the reason.
	for value, status := range map[string]int{Wrong: http.StatusUnprocessableEntity, Later: http.StatusServiceUnavailable} {
		w := d.ask("POST", "/enter", countForm(anID, value), isForm, phone)
		if w.Code != status || !strings.Contains(w.Body.String(), `value="`+value+`"`) || !strings.Contains(w.Body.String(), "The value is &lt;wrong&gt;") || !strings.Contains(w.Body.String(), `value="`+anID+`"`) {
			t.Errorf("%s: %d\n%s", value, w.Code, w.Body)
		}
	}
	if len(d.desk.entries()) != 1 {
		t.Error("more was stored")
	}
}

// Every screen, whatever it is asked for, is a whole page without markup of others.
func TestScreens(t *testing.T) {
	t.Parallel()
	d := newDoor(t, rightCode)
	phone := d.cookie("<u>me")
	odd := url.QueryEscape(`<i>"3`)
	for path, want := range map[string]string{
		"/enter":                                                  `href="/enter/bin?bin=lower%20%3cb%3e"`,
		"/enter/nowhere":                                          "Find a plant",
		"/enter/bin?bin=upper":                                    `class="key gone" href="/enter/plant?plant=P02"`,
		"/enter/bin?bin=middle":                                   "There is no bin middle.",
		"/enter/plant?plant=p01":                                  `what=harvest&amp;outcome=mass_g">mass_g <small>1.5</small>`,
		"/enter/plant?plant=Q":                                    "There is no plant Q",
		"/enter/plant?plant=q01":                                  "lower &lt;b&gt;, row 1, column 1",
		"/enter/plant?plant=P02":                                  "It is not lost after all",
		"/enter/plant?plant=" + odd:                               "&lt;i&gt;&#34;3",
		"/enter/plant?plant=%3Cscript":                            "There is no plant &lt;script",
		"/enter/value?plant=P01&what=harvest&outcome=mass_g":      "1.5 stands in the sheet.",
		"/enter/value?plant=P01&what=harvest&outcome=rooted":      `<button class="key" name="value" value="yes">yes</button>`,
		"/enter/value?plant=P01&what=count&outcome=height":        "There is no outcome height.",
		"/enter/value?plant=P01&what=lost&outcome=leaves":         "There is no outcome leaves.",
		"/enter/value?plant=P01&what=harvest&outcome=mass_g&day=": `value="2026-07-22"`,
		"/enter/lost?plant=Q01":                                   `value="2026-07-23"`,
		"/enter/move?plant=P01":                                   "To which bin?",
		"/enter/move?plant=P01&bin=upper":                         ">free</a>",
		"/enter/move?plant=P01&bin=upper&row=1&column=3":          "The two have changed places",
		"/enter/move?plant=P01&bin=upper&row=1&column=2":          ">Store</button>",
		"/enter/note":                                             "<option>lamp_moved</option>",
		"/enter/note?plant=P01":                                   "Note on P01",
		"/enter/code":                                             `value="&lt;u&gt;me"`,
	} {
		w := d.ask("GET", path, "", phone)
		body := w.Body.String()
		if !strings.Contains(body, want) {
			t.Errorf("%s has no %s:\n%s", path, want, body)
		}
		if strings.Contains(body, "<i>") || strings.Contains(body, "<u>") || strings.Contains(body, "<script>") || strings.Contains(body, "ZgotmplZ") || !strings.HasSuffix(strings.TrimSpace(body), "</html>") {
			t.Errorf("%s is not escaped, or not whole:\n%s", path, body)
		}
		policy := w.Header().Get("Content-Security-Policy")
		if !strings.Contains(policy, "default-src 'none'; script-src 'self';") || strings.Contains(policy, "unsafe") {
			t.Errorf("%s: content policy %q", path, policy)
		}
	}
	// The second weighing is blind to the first.
	again := d.ask("GET", "/enter/value?plant=P01&what=again&outcome=mass_g", "", phone).Body.String()
	if strings.Contains(again, "1.5") || !strings.Contains(again, "Weigh it anew") {
		t.Errorf("the second weighing:\n%s", again)
	}
	// After the last plant of whom it is asked nothing follows.
	if last := d.ask("GET", "/enter/value?plant=Q01&what=count&outcome=leaves", "", phone).Body.String(); !strings.Contains(last, `name="next" value=""`) {
		t.Error("something follows the last plant")
	}
	d.desk.fails = errors.New("the disk hangs")
	if w := d.ask("GET", "/enter", "", phone); !strings.Contains(w.Body.String(), "the disk hangs") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}

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
		map[string]string{"id": anID, "what": "count", "plant": "P\x001"}), phone, isJSON)
	if err := json.Unmarshal(w.Body.Bytes(), &answer); err != nil {
		t.Fatal(err)
	}
	var states []string
	for _, a := range answer.Answers {
		states = append(states, a.State)
	}
	if diff := cmp.Diff([]string{Wrong, Stored, Wrong, Wrong, Wrong, Wrong}, states); diff != "" {
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

// Whatever is sent, from a phone with the code and without: no answer is a fault
// of the server, nothing is taken in without the code, and what is taken in is text.
func FuzzForm(f *testing.F) {
	f.Add("POST", "/enter", formType, countForm(anID, "12"), true)
	f.Add("POST", "/enter/entries", jsonType, entriesOf(map[string]string{"id": anID, "what": "note", "text": "x", "age": "7"}), true)
	f.Add("POST", "/enter/code", formType, "code="+rightCode+"&who=me&then=/enter/note", false)
	f.Add("GET", "/enter/value?plant=P01&what=harvest&outcome=mass_g&stored="+anID, "", "", true)
	f.Add("GET", "/enter/move?plant=P01&bin=upper&row=1&column=2", "", "", true)
	f.Add("POST", "/enter", formType, "id="+anID+"&what=move&plant=%ff%00&row=%", true)
	f.Add("POST", "/enter/code", formType, "code="+rightCode+"&who=m\x92", false)
	f.Add("GET", "/enter/plant?plant=P\xfb", "", "", true)
	f.Fuzz(func(t *testing.T, method, path, kind, body string, holds bool) {
		if method != "GET" && method != "POST" || !strings.HasPrefix(path, "/") {
			t.Skip("no request")
		}
		d := newDoor(t, "")
		d.server.entering.lock = fuzzLock // to stretch it each time would take most of the time
		cookie := "X: y"
		if holds {
			cookie = "Cookie: " + cookieName + "=" + fuzzLock.token("me")
		}
		w := d.ask(method, path, body, cookie, "Content-Type: "+kind)
		if w.Code >= 500 && w.Code != http.StatusServiceUnavailable {
			t.Errorf("%d %s", w.Code, w.Body)
		}
		if w.Code/100 != 3 && !utf8.Valid(w.Body.Bytes()) || strings.Contains(w.Body.String(), "ZgotmplZ") {
			t.Errorf("no text: %q", w.Body)
		}
		if to := w.Header().Get("Location"); to != "" && (to[0] != '/' || len(to) > 1 && (to[1] == '/' || to[1] == '\\')) {
			t.Errorf("leads to %q", to)
		}
		for _, e := range d.desk.entries() {
			if !holds || method == "GET" {
				t.Error("something was taken in")
			}
			for name, part := range e.parts() {
				if !utf8.ValidString(*part) || strings.ContainsAny(*part, "\x00\r\n") || len(*part) > longestText {
					t.Errorf("%s is %q", name, *part)
				}
			}
		}
	})
}

var fuzzLock = func() *lock {
	l, err := newLock(rightCode)
	if err != nil {
		panic(err)
	}
	return l
}()
