package page

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

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
			{Code: "Q01", Bin: "lower <b>", Row: 1, Column: 1, Outcomes: []string{"leaves", "mass_g"}, Fate: "harvested"},
		},
		Outcomes: []Outcome{{Name: "leaves", Kind: "count"}, {Name: "mass_g", Kind: "measure", Unit: "g", Harvest: true}, {Name: "rooted", Kind: "yes_no", Harvest: true}},
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
		Gatherer: prometheus.NewRegistry(), Entries: d.desk, Now: func() time.Time { return d.now }, Log: slog.New(slog.DiscardHandler),
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
		case "Host":
			r.Host = value
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
	// What can't be stored stands on the screen again, with the reason; what may be
	// stored all the same keeps its id, what is wrong gets one of its own.
	for value, status := range map[string]int{Wrong: http.StatusUnprocessableEntity, Later: http.StatusServiceUnavailable} {
		w := d.ask("POST", "/enter", countForm(anID, value), isForm, phone)
		if w.Code != status || !strings.Contains(w.Body.String(), `value="`+value+`"`) || !strings.Contains(w.Body.String(), "The value is &lt;wrong&gt;") || strings.Contains(w.Body.String(), `value="`+anID+`"`) != (value == Later) {
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
		"/enter/bin?bin=lower+%3Cb%3E":                            `>Q01<small>harvested</small></a>`,
		"/enter/move?plant=P01&bin=lower+%3Cb%3E":                 `>Q01<small>harvested</small></a>`,
		"/enter/bin?bin=middle":                                   "There is no bin middle.",
		"/enter/plant?plant=p01":                                  `what=harvest&amp;outcome=mass_g" aria-label="harvest mass_g of P01">mass_g <small>1.5</small>`,
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

// What is typed finds the plant that it can only mean, by its code, its number or
// its end; where it can mean several, they are shown.
func TestPlantsAreFoundByTheirNumber(t *testing.T) {
	t.Parallel()
	o := &Offer{}
	for _, code := range []string{"PE16", "BE16", "PE1", "PE 7", "116", "Q-016", "kalanchoe", "PE100"} {
		o.Plants = append(o.Plants, Plant{Code: code})
	}
	for typed, want := range map[string]string{
		"16": "PE16 BE16 Q-016", "pe 16": "PE16", "PE16": "PE16", "be16": "BE16", "1": "PE1", "01": "PE1", "pe7": "PE 7", "7": "PE 7",
		"116": "116", "16 ": "PE16 BE16 Q-016", "e16": "PE16 BE16", "00": "PE100", "100": "PE100", "choe": "kalanchoe", "": "", "x": "", "-016": "Q-016",
	} {
		var got []string
		for _, p := range o.Matching(typed) {
			got = append(got, p.Code)
		}
		if text := strings.Join(got, " "); text != want {
			t.Errorf("%q finds %q, want %q", typed, text, want)
		}
	}
	d := newDoor(t, rightCode)
	d.desk.offer.Plants = append(d.desk.offer.Plants, Plant{Code: "R1", Bin: "upper", Row: 1, Column: 2})
	screen := d.ask("GET", "/enter/plant?plant=1", "", d.cookie("Ana"))
	for _, want := range []string{"Which one?", `href="/enter/plant?plant=P01">P01<small>upper, row 1, column 1`, `plant=Q01"`, `plant=R1"`} {
		if screen.Code != http.StatusOK || !strings.Contains(screen.Body.String(), want) {
			t.Errorf("%d: the screen does not say %s:\n%s", screen.Code, want, screen.Body)
		}
	}
}
