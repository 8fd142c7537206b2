package page

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.uber.org/goleak"

	"parstead/light"
	"parstead/light/account"
	"parstead/light/watch"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// example is a rack of two small bins at 10:30 on the third day.
func example(tb testing.TB) *State {
	tb.Helper()
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		tb.Fatal(err)
	}
	now := time.Date(2026, 7, 23, 10, 30, 0, 0, zone)
	known := func(x float64, measured bool) Figure {
		return Figure{DLI: light.DLI(x), Known: true, Measured: measured, Source: "map", Error: 0.05}
	}
	upper := Bin{
		Bin: light.Bin{Name: "upper", Rows: 2, Columns: 3, TargetDLI: 4.3, WaterCM: 8}, Coverage: 0.98, Due: 1.1, HasDue: true, Map: "light map of 2026-07-21",
		Levels: []Level{{"light_level", "high"}}, Standing: 2,
	}
	wiped := light.Event{ID: 1, At: now.Add(-time.Hour), Kind: light.LampCleaned, Bin: "upper", Text: "wiped <dust>"}
	rack := &light.Rack{Calendar: light.Calendar{Zone: zone}, Starts: light.Date{Year: 2026, Month: 7, Day: 21}, Ends: light.Date{Year: 2026, Month: 12, Day: 21}}
	upper.Season = NewSeason(upper.Bin, rack, []light.Event{wiped})
	for k, dli := range []light.DLI{4, 5} { // of the places (1, 1) and (2, 1): 4 and 5 mol on both days
		at := []light.Position{{Bin: "upper", Row: 1, Column: 1}, {Bin: "upper", Row: 2, Column: 1}}[k]
		for i := range 2 {
			upper.Season.AddPlace(upper.Index(at), account.Day{Date: rack.Starts.Add(i), Position: at, Figure: account.Figure{
				Known: true, DLI: dli, Source: account.FromMap, Error: account.Error{Independent: 0.03, Bin: 0.04}, Filled: 0.6 * float64(i),
			}})
		}
	}
	for i, mean := range []light.DLI{4.0, 4.2} {
		upper.Season.Days = append(upper.Season.Days, account.BinDay{Date: rack.Starts.Add(i), Bin: "upper", Known: true, Mean: mean})
	}
	for i := range 6 {
		upper.Cells = append(upper.Cells, Cell{Today: known(1+0.1*float64(i), i == 4), Yesterday: known(4+0.1*float64(i), i == 4), Total: known(8+0.2*float64(i), i == 4)})
	}
	lower := Bin{Bin: light.Bin{Name: "lower <b>", Rows: 1, Columns: 1}, Cells: make([]Cell, 1)}
	return &State{
		Trial: `media "trial" & <script>`, Now: now, Calendar: light.Calendar{Zone: zone},
		Day: light.Date{Year: 2026, Month: 7, Day: 23}, Starts: light.Date{Year: 2026, Month: 7, Day: 21}, Ends: light.Date{Year: 2026, Month: 12, Day: 21},
		Bins: []Bin{upper, lower}, Connected: true, Broker: "127.0.0.1:1883", Judged: true,
		Sensors: []Sensor{
			{Sensor: light.Sensor{Name: "upper centre", Measures: light.QuantityLux, Position: light.Position{Bin: "upper", Row: 2, Column: 2}, Every: time.Minute, MaxGap: 10 * time.Minute}, Heard: true, Value: 5900, PPFD: 85, At: now.Add(-40 * time.Second)},
			{Sensor: light.Sensor{Name: "upper air", Measures: light.QuantityTemperature, Position: light.Position{Bin: "upper"}, Every: time.Minute, MaxGap: 10 * time.Minute}, Heard: true, Value: 22.25, At: now.Add(-30 * time.Second)},
			{Sensor: light.Sensor{Name: "upper damp", Measures: light.QuantityHumidity, Position: light.Position{Bin: "upper"}, Every: time.Minute, MaxGap: 10 * time.Minute}, Heard: true, Value: 65, At: now.Add(-30 * time.Second)},
		},
		Log: []light.Event{wiped}, OffTarget: 0.1,
		Plants: []Standing{{Code: "P1", Bin: "upper"}, {Code: "P9", Bin: "upper", Fate: "lost", On: "2026-07-22", Why: "rot"}},
	}
}

func serve(t *testing.T, s *State, ready error) *httptest.Server {
	t.Helper()
	state := func(context.Context) (*State, error) { return s, nil }
	registry := prometheus.NewPedanticRegistry()
	registry.MustRegister(NewCollector(state))
	plant := func(_ context.Context, code string) (*History, error) {
		if code != "P/1" {
			return nil, nil //nolint:nilnil // as the daemon says of a code that no plant has
		}
		start := s.Starts
		return &History{
			State: s, Code: code, Kind: "Hoya <b>", Place: light.Position{Bin: "upper", Row: 2, Column: 1},
			Stays: []light.Stay{
				{Position: light.Position{Bin: "upper", Row: 1, Column: 1}, During: light.Span{From: s.Calendar.Day(start).From, Until: s.Calendar.Day(start.Add(1)).From}},
				{Position: light.Position{Bin: "upper", Row: 2, Column: 1}, During: light.Span{From: s.Calendar.Day(start.Add(1)).From, Until: s.Calendar.Day(s.Ends).Until}},
			},
			Counts: []Counted{{At: s.Now, Outcome: "leaves"}}, Log: []light.Event{{At: s.Now, Kind: light.Treated, Plant: code, Text: "soap & water"}},
		}, nil
	}
	p := New(Config{State: state, Plant: plant, Ready: func() error { return ready }, Gatherer: registry, Entries: newDesk(), Now: time.Now, Log: slog.New(slog.DiscardHandler)})
	server := httptest.NewUnstartedServer(nil)
	server.Config.Handler = p.guard(p.routes(), server.Listener.Addr())
	server.Start()
	t.Cleanup(server.Close)
	return server
}

func get(t *testing.T, s *httptest.Server, path string) (int, string, http.Header) {
	t.Helper()
	r, err := s.Client().Get(s.URL + path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = r.Body.Close() }()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(body), r.Header
}

func TestPageSaysWhatIsKnown(t *testing.T) {
	t.Parallel()
	s := serve(t, example(t), nil)
	status, body, header := get(t, s, "/")
	if status != http.StatusOK {
		t.Fatalf("status %d: %s", status, body)
	}
	for _, want := range []string{
		"All well: 3 sensors heard", "day 3 of 154 · 10:30", "Heard longest ago: upper centre, 40 s ago.",
		`<a href="#bin-0">upper</a> <small>high</small>`, "<b>4.2</b>", "99 %", // 4.25 of 4.3, rounded
		"upper<span class=\"level\"> · light_level high</span>", "2 plants, under 8 cm of water",
		"<b>4.25 of 4.30 yesterday</b> · today 1.25 of 1.10 due",
		"each place ± 5 %; readings cover 98 % of today; light map of 2026-07-21",
		"<b>Yesterday is not known.</b> · Light not known yet today.", "5900.0 lx (85 µmol m⁻² s⁻¹)", "lamp cleaned: wiped &lt;dust&gt;", "lower &lt;b&gt;",
		"Parstead only watches.", `<td class="s9 measured"><a href="/place/upper/2/2">4.4</a></td>`, `<td class="s9"><a href="/place/upper/2/3">4.5</a></td>`,
		`<a href="/place/lower%20%3Cb%3E/1/1">–</a>`,
		`1 lamp cleaned <span class="when">23 Jul</span>`, `aria-label="Light of bin upper: 2 days known, 4.0 to 4.2 mol m⁻² a day; 4.3 is meant, 2 days below it"`,
		`<a href="/plant/P9">P9</a> in upper: lost on 2026-07-22, rot`,
	} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Count(body, "<script") != 1 || strings.Contains(body, "ZgotmplZ") {
		t.Error("something was not escaped")
	}
	// The page's own script alone may run, known by a word that is new in each answer.
	policy := header.Get("Content-Security-Policy")
	_, nonce, _ := strings.Cut(body, `<script src="/page.js" defer nonce="`)
	nonce, _, _ = strings.Cut(nonce, `"`)
	if len(nonce) < 16 || !strings.HasPrefix(policy, "default-src 'none'; script-src 'nonce-"+nonce+"'; connect-src 'self'; style-src 'self'") {
		t.Errorf("content policy %q, nonce %q", policy, nonce)
	}
	if _, again, _ := get(t, s, "/"); strings.Contains(again, nonce) {
		t.Error("the word is the same twice")
	}
}

func TestPageSaysWhatIsWrongFirst(t *testing.T) {
	t.Parallel()
	state := example(t)
	state.Conditions = []watch.Condition{
		{Kind: "dark_when_due", Bin: "upper", Since: state.Now.Add(-time.Hour), Says: "Bin upper is dark though its lamp is due.", Do: "Switch off at the plug before touching; then look at the timer."},
		{Kind: "silent", Sensor: "upper air", Since: state.Now, Says: "upper air is silent.", Do: "Look at its supply."},
	}
	_, body, _ := get(t, serve(t, state, nil), "/")
	for _, want := range []string{
		"<h1>Bin upper is dark though its lamp is due.</h1>", "<p>Since 09:30.</p>",
		"<b>Do:</b> Switch off at the plug before touching; then look at the timer.", "<summary>upper air is silent.</summary>",
		`<tr class="off"><th scope="row"><a href="#bin-0">upper</a>`, "<small>dark when due</small>",
	} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %s:\n%s", want, body)
		}
	}
	if strings.Contains(body, "All well") {
		t.Error("the page says that all is well")
	}
}

// All is well only once everything is heard, judged and taken.
func TestHeadline(t *testing.T) {
	t.Parallel()
	for says, change := range map[string]func(*State){
		"All well: 3 sensors heard, nothing out of the ordinary.": func(*State) {},
		"The trial has ended: weigh and count the plants.": func(s *State) {
			s.Harvest = &Progress{In: 1, Out: 3, Next: "upper", ThereIn: 2}
			s.Conditions = []watch.Condition{{Says: "upper air is silent."}}
		},
		"No sensor is set up yet: nothing is watched.":     func(s *State) { s.Sensors = nil },
		"Nothing heard yet from 1 sensor.":                 func(s *State) { s.Sensors = s.Sensors[:1]; s.Sensors[0].Heard = false },
		"Waiting: 2 of 3 sensors heard so far.":            func(s *State) { s.Sensors[1].Heard = false },
		"3 sensors heard; what they show is being judged.": func(s *State) { s.Judged = false },
		"3 sensors heard, but 5 payloads refused within the last hour, see below.": func(s *State) {
			s.Refused = []Refused{{"upper air", "no number in it", 4, s.Now}, {"", "no sensor has the topic", 1, s.Now}}
		},
		"Nothing usable heard yet from 1 sensor: 1 payload refused, see below.": func(s *State) {
			s.Sensors = s.Sensors[:1]
			s.Sensors[0].Heard = false
			s.Refused = []Refused{{"upper centre", "no number in it", 1, s.Now}}
		},
		"0 of 1 sensor heard; messages of 1 sensor come without their time and can't be used, see below.": func(s *State) {
			s.Sensors = s.Sensors[:1]
			s.Sensors[0].Heard, s.Sensors[0].Timeless = false, "its messages carry no time at /at"
		},
		"upper air is silent.": func(s *State) { s.Conditions = []watch.Condition{{Says: "upper air is silent."}}; s.Judged = false },
	} {
		s := example(t)
		change(s)
		got, well := headline(s)
		if got != says || well != strings.HasPrefix(says, "All well") {
			t.Errorf("got %q (well: %v), want %q", got, well, says)
		}
		_, body, _ := get(t, serve(t, s, nil), "/")
		if title := "<title>look here"; strings.Contains(body, title) == well {
			t.Errorf("%s: the title says otherwise", says)
		}
		if len(s.Sensors) > 0 && s.Sensors[0].Timeless != "" && (!strings.Contains(body, "From upper centre: stored, but not used: its messages carry no time at /at.") || strings.Contains(body, "not been heard")) {
			t.Errorf("the page does not say why nothing is used:\n%s", body)
		}
		if len(s.Refused) > 1 && !strings.Contains(body, "From upper air: 4 refused, the last 0 s ago: no number in it.") {
			t.Errorf("the page does not say what was refused:\n%s", body)
		}
	}
}

// A position's page tells its light with its range, how it is known, and its
// season; a name that is no path is one all the same.
func TestThePageOfAPlace(t *testing.T) {
	t.Parallel()
	s := serve(t, example(t), nil)
	status, body, _ := get(t, s, "/place/upper/2/1")
	for _, want := range []string{
		"<h1>upper, row 2, column 1</h1>", `<p class="figure">4.30</p>`, "between 3.90 and 4.74", // 4.3 × exp(∓ 1.96 × 0.05)
		`<th scope="row">so far today</th><td>1.30</td>`, `<th scope="row">since 21 Jul</th><td>5.00 a day, 10 in all</td>`,
		"4.25 yesterday; 4.30 is meant", "the light map, times the bin&#39;s sensors", "2 days by light map, 1 of these mostly estimated",
		"lamp cleaned: wiped &lt;dust&gt;", `<td class="s9 here"><a href="/place/upper/2/1" aria-current="page">4.3</a></td>`,
		`aria-label="Light of upper, row 2, column 1: 2 days known, 5.0 to 5.0 mol m⁻² a day"`, `<circle class="estimated"`,
	} {
		if status != http.StatusOK || !strings.Contains(body, want) {
			t.Errorf("status %d; the page does not say %s:\n%s", status, want, body)
		}
	}
	if _, body, _ := get(t, s, "/place/lower%20%3Cb%3E/1/1"); !strings.Contains(body, "<h1>lower &lt;b&gt;, row 1, column 1</h1>") || !strings.Contains(body, "Yesterday is not known here.") {
		t.Errorf("a place of which nothing is known:\n%s", body)
	}
	for _, none := range []string{"/place/upper/3/1", "/place/upper/0/1", "/place/upper/1/x", "/place/attic/1/1", "/place/upper/1", "/plant/P1", "/plant/"} {
		if status, _, _ := get(t, s, none); status != http.StatusNotFound {
			t.Errorf("%s: status %d", none, status)
		}
	}
}

// A plant's page follows it through its places: a day of 4 mol at the first, one
// of 5 at the second.
func TestThePageOfAPlant(t *testing.T) {
	t.Parallel()
	status, body, _ := get(t, serve(t, example(t), nil), "/plant/P%2F1")
	for _, want := range []string{
		"<h1>P/1</h1>", "Hoya &lt;b&gt;; stands in <a href=\"/place/upper/2/1\">upper, row 2, column 1</a>", `<p class="figure">4.50</p>`,
		"22 Jul 00:00 · moved to upper, row 2, column 1 from upper, row 1, column 1", "leaves was counted", "treated P/1: soap &amp; water",
		"are kept back until nothing of it is left to be scored", `href="/enter/plant?plant=P%2f1"`, `<path class="now" d="M33 `,
	} {
		if status != http.StatusOK || !strings.Contains(body, want) {
			t.Errorf("status %d; the page does not say %s:\n%s", status, want, body)
		}
	}
}

// A day behind which no reading stands is said to be estimated, not short.
func TestADayWithoutReadingsIsSaidToBe(t *testing.T) {
	t.Parallel()
	state := example(t)
	for i := range state.Bins[0].Cells {
		c := &state.Bins[0].Cells[i]
		c.Yesterday.DLI, c.Yesterday.Filled = 2, 1
	}
	_, body, _ := get(t, serve(t, state, nil), "/")
	if !strings.Contains(body, "47 % <small>estimated</small>") || !strings.Contains(body, "2.00 of 4.30 yesterday: estimated") {
		t.Errorf("the page does not say so:\n%s", body)
	}
}

// Once the trial has ended the page tells its season in the past, leads to the result,
// and what is wrong at the rack is no headline. The places got 4 and 5 mol on each of
// two days.
func TestThePageOfATrialThatHasEnded(t *testing.T) {
	t.Parallel()
	state := example(t)
	state.Ends = state.Day.Add(-1)
	state.Harvest = &Progress{In: 2}
	state.Bins[0].Cells[3].Plant = "P1" // in row 2, column 1
	state.Conditions = []watch.Condition{
		{Kind: watch.Silent, Sensor: "upper air", Since: state.Now.Add(-72 * time.Hour), Says: "upper air is silent.", Do: "Look at its supply."},
		{Kind: watch.OffTarget, Bin: "upper", Since: state.Now.Add(-72 * time.Hour), Says: "Bin upper is short of light."},
	}
	s := serve(t, state, nil)
	_, page, _ := get(t, s, "/")
	_, place, _ := get(t, s, "/place/upper/2/1")
	for want, body := range map[string]string{
		"<h1>The trial has ended, and the harvest is written down.</h1>": page, `<a href="/result">read the result</a>`: page,
		"ended on 2026-07-22": page, "A day's mean, 21 Jul to 22 Jul, mol m⁻².": page, "<b>4.50 of 4.30 a day</b>": page,
		"<summary>At the rack, which is still watched: 1 not in order</summary><p>upper air is silent. Look at its supply.</p>": page,
		`<a href="/place/upper/2/1">5.0</a>`: page, "What it got is not known.": page, `<li><b><a href="/result">Read the result</a>.</b></li>`: page,
		`<p class="figure">5.00</p>`: place, "mol m⁻² a day, the mean of the season, between 4.53 and 5.51": place, // 5 × exp(∓ 1.96 × 0.05)
		"10 mol m⁻², 21 Jul to 22 Jul": place, "4.50 a day; 4.30 was meant": place, `<a href="/plant/P1">P1</a> stood here; light_level high.`: place,
	} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q:\n%s", want, body)
		}
	}
	for _, over := range []string{"today", "esterday", "Since ", "short of light", "Heard longest ago"} {
		if strings.Contains(page, over) || strings.Contains(place, over) {
			t.Errorf("the page says %q of a trial that has ended", over)
		}
	}
	state.Harvest.Out = 3
	if _, body, _ := get(t, s, "/"); !strings.Contains(body, `<a href="/enter">Weigh and count</a> what is not written down yet: 3 plants.`) {
		t.Errorf("the page does not lead to the harvest:\n%s", body)
	}
}

func TestReadyAndAlive(t *testing.T) {
	t.Parallel()
	s := serve(t, example(t), errors.New("the totals are being computed"))
	if status, body, _ := get(t, s, "/ready"); status != http.StatusServiceUnavailable || !strings.Contains(body, "totals") {
		t.Errorf("not ready: %d %q", status, body)
	}
	if status, _, _ := get(t, s, "/alive"); status != http.StatusOK {
		t.Errorf("not alive: %d", status)
	}
}

func TestOtherNamesAndMethodsAreRefused(t *testing.T) {
	t.Parallel()
	s := serve(t, example(t), nil)
	port := s.URL[strings.LastIndex(s.URL, ":")+1:]
	for host, want := range map[string]int{
		"localhost:" + port: http.StatusOK, "127.0.0.1:" + port: http.StatusOK, "[::1]:" + port: http.StatusOK,
		"rebound.example:" + port: http.StatusMisdirectedRequest, "127.0.0.1:1": http.StatusMisdirectedRequest,
	} {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.URL+"/", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Host = host
		answer, err := s.Client().Do(r)
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		if answer.StatusCode != want {
			t.Errorf("host %q: status %d, want %d", host, answer.StatusCode, want)
		}
	}
	answer, err := s.Client().Post(s.URL+"/", "text/plain", strings.NewReader("x"))
	if err != nil {
		t.Fatal(err)
	}
	_ = answer.Body.Close()
	if answer.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("POST: status %d", answer.StatusCode)
	}
	// Another site's page, by the browser's own headers.
	for header, value := range map[string]string{"Origin": "http://elsewhere.example", "Sec-Fetch-Site": "cross-site"} {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, s.URL+"/", strings.NewReader("x"))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set(header, value)
		answer, err := s.Client().Do(r)
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		if answer.StatusCode != http.StatusForbidden {
			t.Errorf("POST with %s %s: status %d", header, value, answer.StatusCode)
		}
	}
}

func TestMetrics(t *testing.T) {
	t.Parallel()
	state := example(t)
	state.Conditions = []watch.Condition{{Kind: "silent", Sensor: "upper air"}}
	c := NewCollector(func(context.Context) (*State, error) { return state, nil })
	want := `
# HELP parstead_condition_active 1 while a condition holds.
# TYPE parstead_condition_active gauge
parstead_condition_active{bin="",condition="silent",sensor="upper air"} 1
# HELP parstead_coverage_ratio Share of the running light day so far that readings cover.
# TYPE parstead_coverage_ratio gauge
parstead_coverage_ratio{bin="lower <b>"} 0
parstead_coverage_ratio{bin="upper"} 0.98
# HELP parstead_dli_target_moles_per_square_meter Daily light integral that the bin is meant to get; absent where none is set.
# TYPE parstead_dli_target_moles_per_square_meter gauge
parstead_dli_target_moles_per_square_meter{bin="upper"} 4.3
# HELP parstead_humidity_ratio Newest relative humidity, 0 to 1.
# TYPE parstead_humidity_ratio gauge
parstead_humidity_ratio{bin="upper",sensor="upper damp"} 0.65
# HELP parstead_ppfd_micromoles_per_square_meter_second Newest photon flux density (400-700 nm) that a sensor measured; row and column 0 for a sensor that speaks for its bin.
# TYPE parstead_ppfd_micromoles_per_square_meter_second gauge
parstead_ppfd_micromoles_per_square_meter_second{bin="upper",column="2",row="2",sensor="upper centre"} 85
# HELP parstead_sensor_interval_seconds Time between readings that the trial's file states.
# TYPE parstead_sensor_interval_seconds gauge
parstead_sensor_interval_seconds{sensor="upper air"} 60
parstead_sensor_interval_seconds{sensor="upper centre"} 60
parstead_sensor_interval_seconds{sensor="upper damp"} 60
# HELP parstead_temperature_celsius Newest temperature.
# TYPE parstead_temperature_celsius gauge
parstead_temperature_celsius{bin="upper",sensor="upper air"} 22.25
`
	if err := testutil.CollectAndCompare(c, strings.NewReader(want),
		"parstead_condition_active", "parstead_coverage_ratio", "parstead_dli_target_moles_per_square_meter", "parstead_sensor_interval_seconds", "parstead_humidity_ratio",
		"parstead_ppfd_micromoles_per_square_meter_second", "parstead_temperature_celsius"); err != nil {
		t.Error(err)
	}
	if problems, err := testutil.CollectAndLint(c); err != nil || len(problems) > 0 {
		t.Errorf("lint: %v %v", problems, err)
	}
}

func TestMetricsPassPromtool(t *testing.T) {
	t.Parallel()
	promtool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1" {
			t.Fatal("promtool is required and missing")
		}
		t.Skip("promtool is not installed")
	}
	_, body, _ := get(t, serve(t, example(t), nil), "/metrics")
	check := exec.CommandContext(t.Context(), promtool, "check", "metrics")
	check.Stdin = strings.NewReader(body)
	if out, err := check.CombinedOutput(); err != nil {
		t.Errorf("promtool: %v\n%s", err, out)
	}
}

// What a sensor read before its longest gap is no value of now.
func TestOldValuesAreNotServed(t *testing.T) {
	t.Parallel()
	state := example(t)
	state.Sensors[0].At = state.Now.Add(-state.Sensors[0].MaxGap - time.Second)
	state.Sensors[1].At = state.Now.Add(-state.Sensors[1].MaxGap)
	_, body, _ := get(t, serve(t, state, nil), "/metrics")
	if strings.Contains(body, "parstead_ppfd") || !strings.Contains(body, "parstead_temperature_celsius{") {
		t.Errorf("%s", body)
	}
}

// A mark that stands for saturation is no amount of light.
func TestASaturationMarkIsNoLight(t *testing.T) {
	t.Parallel()
	state := example(t)
	x := &state.Sensors[0]
	x.Raw, x.Value, x.PPFD, x.Saturated = -1, -1, -0.0149, true
	server := serve(t, state, nil)
	if _, body, _ := get(t, server, "/"); !strings.Contains(body, "marked saturated (raw -1)") || strings.Contains(body, "-1.0 lx") {
		t.Error("the table takes the mark for light")
	}
	if _, body, _ := get(t, server, "/metrics"); strings.Contains(body, "parstead_ppfd") {
		t.Error("there is a gauge of it")
	}
}
