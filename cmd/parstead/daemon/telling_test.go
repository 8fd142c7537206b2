package daemon

import (
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/cmd/parstead/trial"

	"github.com/emersion/go-smtp"
	"github.com/google/go-cmp/cmp"
)

// mailbox is a real SMTP server on loopback.
type mailbox struct {
	mu     sync.Mutex
	mails  []string
	refuse bool
}

func (m *mailbox) NewSession(*smtp.Conn) (smtp.Session, error) { return m, nil }
func (m *mailbox) Reset()                                      {}
func (m *mailbox) Logout() error                               { return nil }
func (m *mailbox) Mail(string, *smtp.MailOptions) error        { return nil }

func (m *mailbox) Rcpt(string, *smtp.RcptOptions) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.refuse {
		return &smtp.SMTPError{Code: 451, Message: "greylisted, come again"}
	}
	return nil
}

func (m *mailbox) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.mails = append(m.mails, strings.ReplaceAll(string(text), "\r\n", "\n"))
	return err
}

func (m *mailbox) refusing(yes bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.refuse = yes
}

// subjects lists what came, folded lines joined.
func (m *mailbox) subjects() []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	var list []string
	for _, text := range m.mails {
		header, _, _ := strings.Cut(text, "\n\n")
		for line := range strings.Lines(strings.ReplaceAll(header, "\n ", " ")) {
			if s, ok := strings.CutPrefix(line, "Subject: "); ok {
				list = append(list, strings.TrimSpace(s))
			}
		}
	}
	return list
}

// serveMail starts a mail server and returns the [tell] section that uses it.
func serveMail(tb testing.TB) (*mailbox, string) {
	tb.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	box := &mailbox{}
	server := smtp.NewServer(box)
	done := make(chan struct{})
	go func() { defer close(done); _ = server.Serve(l) }()
	tb.Cleanup(func() { _ = server.Close(); <-done })
	return box, fmt.Sprintf("[tell]\nmail = { to = \"grower@example.org\", from = \"rack@example.org\", host = \"127.0.0.1\", port = %d }\n",
		l.Addr().(*net.TCPAddr).Port)
}

// A power cut at midday, from the readings on the broker to the mail in the box:
// one mail for it, though every lamp is dark, none repeated while it lasts and
// flickers, and one when it is over.
func TestAPowerCutIsOneMail(t *testing.T) {
	t.Parallel()
	box, section := serveMail(t)
	dir := racktest.SmallTrial(t, section)
	racktest.Lived(t, dir, racktest.Midday, 3, 100)
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	upper, lower := w.device("upper"), w.device("lower")
	// minutes passes time with both sensors reading the value, and waits after
	// each minute until it was judged.
	minutes := func(n int, value float64) {
		for range n {
			racktest.Send(t, upper, "rack/upper", value)
			racktest.Send(t, lower, "rack/lower", value)
			clock.Move(time.Minute)
			w.conditions.look(t.Context(), clock.At())
		}
	}
	minutes(5, 100)
	minutes(25, 0) // dark
	racktest.Eventually(t, "the mail", func() bool { return len(box.subjects()) == 1 })
	for range 8 { // back and out again, longer than the grace each time
		minutes(3, 100)
		minutes(20, 0)
	}
	minutes(40, 100)
	racktest.Eventually(t, "the mail that it is over", func() bool {
		all := box.subjects()
		return len(all) > 1 && strings.Contains(all[len(all)-1], "over:")
	})
	w.stop()
	subjects := box.subjects()
	if len(subjects) > 6 { // three hours and a half of flicker: one an hour at most, and its end
		t.Errorf("%d mails in a storm: %q", len(subjects), subjects)
	}
	if !strings.HasPrefix(subjects[0], "test rack: All 2 bins at once:") || !strings.Contains(box.mails[0], "Switch off at the plug before touching") {
		t.Errorf("the first mail: %s", box.mails[0])
	}
	for _, s := range subjects {
		if strings.Contains(s, "not heard") {
			t.Errorf("told for the same cut: %q", s)
		}
	}
}

// A mail that could not be sent is shown on the page and sent once it can be.
func TestAMailThatCouldNotBeSentIsShown(t *testing.T) {
	t.Parallel()
	box, section := serveMail(t)
	box.refusing(true)
	sink := &faultySink{}
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, racktest.SmallTrial(t, section), Options{Clock: clock.Ingest(), sink: sink.wrap})
	racktest.Eventually(t, "the first look", w.judged)
	sink.fail(os.ErrDeadlineExceeded)
	w.device("upper").Publish("rack/upper", 1, false, "101")
	racktest.Eventually(t, "the page to show it", func() bool {
		clock.Move(5 * time.Second) // the page is made anew
		body := w.get("/")
		return strings.Contains(body, "Could not be sent to you yet") && strings.Contains(body, "greylisted")
	})
	box.refusing(false)
	clock.Move(time.Hour)
	w.teller.Flush(t.Context())
	if got := box.subjects(); len(got) != 1 || !strings.Contains(got[0], "be kept") {
		t.Errorf("mails: %q", got)
	}
	clock.Move(5 * time.Second)
	if strings.Contains(w.get("/"), "Could not be sent") {
		t.Error("the page still shows it")
	}
	w.stop()
}

// The daily line comes at its hour, once a day, over a restart too, and says
// what was heard, what light there was and what is wrong.
func TestDailyLine(t *testing.T) {
	t.Parallel()
	out := racktest.NewOutbox(t)
	dir := racktest.SmallTrial(t, "[tell]\ndaily = \"12:05\"\n"+out.Command())
	racktest.Lived(t, dir, racktest.Midday, 3, 100)
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	racktest.Eventually(t, "the first look", w.judged)
	clock.Move(4 * time.Minute)
	racktest.Send(t, w.device("upper"), "rack/upper", 100)
	racktest.Send(t, w.device("lower"), "rack/lower", 100)
	time.Sleep(50 * time.Millisecond)
	if short, _ := out.Messages(); len(short) != 0 {
		t.Errorf("told before its hour: %v", short)
	}
	clock.Move(time.Minute)
	racktest.Eventually(t, "the daily line", func() bool { short, _ := out.Messages(); return len(short) == 1 })
	w.stop()

	w = watchFolder(t, dir, Options{Clock: clock.Ingest()}) // the same hour
	racktest.Eventually(t, "the first look", w.judged)
	clock.Move(2 * time.Minute)
	time.Sleep(100 * time.Millisecond)
	w.stop()
	clock.Move(24 * time.Hour)
	w = watchFolder(t, dir, Options{Clock: clock.Ingest()}) // the next day's has passed meanwhile
	racktest.Eventually(t, "the next day's line", func() bool { short, _ := out.Messages(); return slices.Contains(short[1:], "daily") })
	w.stop()
	short, all := out.Messages()
	daily := slices.DeleteFunc(short, func(s string) bool { return s != "daily" })
	if diff := cmp.Diff([]string{"daily", "daily"}, daily); diff != "" {
		t.Error(diff)
	}
	// 14 h, ramps of five minutes at both ends counted half, at 100.1 µmol m⁻² s⁻¹
	// on average: 100.1 × 50,400 / 10⁶ = 5.045.
	want := "2 of 2 sensors heard; light of 2026-08-04, mol m⁻² d⁻¹: upper 5.05 of 5.00, lower 5.05 of 5.00; nothing is wrong."
	if all[0].Says != want {
		t.Errorf("says %q\nwant %q", all[0].Says, want)
	}
	if strings.Contains(all[0].Says, "\n") {
		t.Error("more than one line")
	}
}

func TestTestMessage(t *testing.T) {
	t.Parallel()
	box, section := serveMail(t)
	out := racktest.NewOutbox(t)
	test := func(more string) error {
		tr, err := trial.Open(racktest.SmallTrial(t, more))
		if err != nil {
			t.Fatal(err)
		}
		return TestMessage(t.Context(), tr, racktest.Midday)
	}
	for name, more := range map[string]string{"mail": section, "command": "[tell]\n" + out.Command(), "nobody": ""} {
		if err := test(more); (err == nil) != (more != "") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if got := box.subjects(); len(got) != 1 || !strings.Contains(got[0], "This is a test") {
		t.Errorf("mails %q", got)
	}
	if short, _ := out.Messages(); len(short) != 1 || short[0] != "test" {
		t.Errorf("command: %v", short)
	}
	box.refusing(true)
	if err := test(section); err == nil || !strings.Contains(err.Error(), "greylisted") {
		t.Errorf("a refused test message: %v", err)
	}
}

// What is wrong of the file of what was told costs a repetition, never a start.
func TestATornMemoryOfWhatWasTold(t *testing.T) {
	t.Parallel()
	out := racktest.NewOutbox(t)
	dir := racktest.SmallTrial(t, "[tell]\n"+out.Command())
	if err := os.WriteFile(filepath.Join(dir, toldFile), []byte(`[{"message":`), 0o600); err != nil {
		t.Fatal(err)
	}
	w := watchFolder(t, dir, Options{})
	racktest.Eventually(t, "the first look", w.judged)
	w.stop()
}
