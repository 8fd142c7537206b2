package tell

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"

	"parstead/light/watch"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// recorder is a way that notes what it was given and fails on demand.
type recorder struct {
	got []string
	err error
}

func (r *recorder) Send(_ context.Context, m Message) error {
	if r.err != nil {
		return r.err
	}
	state := "on"
	if m.Until != nil {
		state = "over"
	}
	r.got = append(r.got, string(m.Kind)+" "+m.Bin+" "+state)
	return nil
}

type bench struct {
	*Teller
	way *recorder
	now time.Time
}

func newBench() *bench {
	b := &bench{way: &recorder{}, now: time.Date(2026, 8, 1, 9, 0, 0, 0, time.UTC)}
	b.Teller = New(Config{Way: b.way, Now: func() time.Time { return b.now }, Log: slog.New(slog.DiscardHandler)})
	return b
}

func (b *bench) on(condition, bin string) {
	b.Tell(Message{Condition: watch.Condition{Kind: watch.Kind(condition), Bin: bin, Since: b.now}})
	b.sendDue(context.Background())
}

func (b *bench) over(condition, bin string) {
	now := b.now
	b.Tell(Message{Condition: watch.Condition{Kind: watch.Kind(condition), Bin: bin, Since: b.now.Add(-time.Minute), Until: &now}})
	b.sendDue(context.Background())
}

func (b *bench) wait(d time.Duration) {
	b.now = b.now.Add(d)
	b.sendDue(context.Background())
}

func TestOneMessagePerCauseAndOneWhenOver(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.on("dark_when_due", "upper")
	for range 10 { // the same cause, reported each minute
		b.wait(time.Minute)
	}
	b.on("dark_when_due", "lower")
	b.over("dark_when_due", "upper")
	b.wait(2 * time.Hour)
	want := []string{"dark_when_due upper on", "dark_when_due lower on", "dark_when_due upper over"}
	if diff := cmp.Diff(want, b.way.got); diff != "" {
		t.Error(diff)
	}
}

func TestAStormIsToldOnce(t *testing.T) {
	t.Parallel()
	b := newBench()
	for range 50 { // on and off every half minute
		b.on("silent", "upper")
		b.wait(30 * time.Second)
		b.over("silent", "upper")
		b.wait(30 * time.Second)
	}
	if diff := cmp.Diff([]string{"silent upper on", "silent upper over"}, b.way.got); diff != "" {
		t.Error(diff)
	}
	b.on("silent", "upper")
	b.wait(time.Hour)
	if got := len(b.way.got); got != 3 {
		t.Errorf("%d messages; the cause that stayed must be told once the hour is over", got)
	}
}

func TestWhatCouldNotBeSentIsTriedAgainAndShown(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.way.err = errors.New("no network")
	b.on("disk", "")
	for range 5 {
		b.wait(time.Second)
	}
	unsent := b.Unsent()
	if len(unsent) != 1 || unsent[0].Tries != 1 || unsent[0].Why != "no network" {
		t.Fatalf("unsent: %+v", unsent)
	}
	b.wait(firstRetry)
	if got := b.Unsent()[0].Tries; got != 2 {
		t.Errorf("%d tries, want 2", got)
	}
	b.way.err = nil
	b.wait(lastRetry)
	if diff := cmp.Diff([]string{"disk  on"}, b.way.got); diff != "" || len(b.Unsent()) != 0 {
		t.Error(diff, b.Unsent())
	}
}

func TestCameAndWentUntoldIsNotToldLater(t *testing.T) {
	t.Parallel()
	b := newBench()
	b.way.err = errors.New("no network")
	b.on("hot", "upper")
	b.over("hot", "upper")
	b.way.err = nil
	b.wait(time.Hour)
	if len(b.way.got) != 0 || len(b.Unsent()) != 0 {
		t.Error(b.way.got, b.Unsent())
	}
}

func TestCommandGetsOneJSONObject(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "got")
	m := Message{Trial: "spring", Condition: watch.Condition{Kind: watch.Silent, Bin: "upper", Since: time.Date(2026, 8, 1, 9, 0, 0, 0, time.UTC), Says: "says", Do: "do"}}
	if err := (Command{"sh", "-c", `cat > "$0"`, file}).Send(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var got Message
	if err := json.Unmarshal(data, &got); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(m, got); diff != "" {
		t.Error(diff)
	}
	err = (Command{"sh", "-c", "echo no route >&2; exit 3"}).Send(t.Context(), m)
	if err == nil || !strings.Contains(err.Error(), "no route") {
		t.Errorf("error %v must carry the program's last words", err)
	}
}

func TestTopicHoldsOnlyPlainCharacters(t *testing.T) {
	t.Parallel()
	got := Message{Trial: "spring/trial #1", Condition: watch.Condition{Kind: watch.Silent, Bin: "ober+fach"}}.Topic()
	if want := "parstead/spring-trial--1/conditions/silent/ober-fach"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// server is a real SMTP server on loopback that keeps what it is sent.
type server struct {
	mu     sync.Mutex
	mails  []string
	refuse bool
}

func (s *server) NewSession(*smtp.Conn) (smtp.Session, error) { return s, nil }
func (s *server) Reset()                                      {}
func (s *server) Logout() error                               { return nil }
func (s *server) Mail(string, *smtp.MailOptions) error        { return nil }

func (s *server) Rcpt(string, *smtp.RcptOptions) error {
	if s.refuse {
		return &smtp.SMTPError{Code: 550, Message: "no such mailbox"}
	}
	return nil
}

func (s *server) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.mails = append(s.mails, string(text))
	return err
}

// Over an open network a mail leaves only under TLS, its words say when it was over,
// and what can't be sent says where to look.
func TestMailThatDoesNotLeave(t *testing.T) {
	t.Parallel()
	smtpServer := smtp.NewServer(&server{})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() { defer close(done); _ = smtpServer.Serve(l) }()
	t.Cleanup(func() { _ = smtpServer.Close(); <-done })
	good := Mail{To: []string{"grower@example.org"}, From: "rack@example.org", Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, Zone: time.UTC}
	for says, change := range map[string]func(*Mail){
		"STARTTLS":                         func(*Mail) {},
		"mend the addresses in trial.toml": func(m *Mail) { m.To = []string{"grower"} },
		"[tell] mail through : ":           func(m *Mail) { m.Host = "" },
	} {
		m := good
		change(&m)
		if err := m.Send(t.Context(), Message{Trial: "spring"}); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%v, want %q", err, says)
		}
	}
}

func TestWordsOfAMessage(t *testing.T) {
	t.Parallel()
	until := time.Unix(3600, 0)
	for want, m := range map[string]Message{
		"dark\nSince 1970-01-01 00:00 UTC.\n\nLook.\n":                              {Condition: watch.Condition{Kind: watch.Silent, Since: time.Unix(0, 0), Says: "dark", Do: "Look."}},
		"dark\nIt is over: from 1970-01-01 00:00 UTC until 1970-01-01 01:00 UTC.\n": {Condition: watch.Condition{Kind: watch.Silent, Since: time.Unix(0, 0), Until: &until, Says: "dark", Do: "Look."}},
		"all is well\n": {Condition: watch.Condition{Kind: DailyLine, Since: time.Unix(0, 0), Says: "all is well"}},
	} {
		if got := m.Text(time.UTC); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	over := Message{Trial: "spring", Condition: watch.Condition{Kind: watch.Silent, Until: &until, Says: "dark"}}
	if got := over.Subject(); got != "spring: over: dark" {
		t.Errorf("subject %q", got)
	}
	if got := over.Topic(); got != "parstead/spring/conditions/silent/rack" {
		t.Errorf("topic %q", got)
	}
}

func TestMailReachesAServer(t *testing.T) {
	t.Parallel()
	for _, refuse := range []bool{false, true} {
		backend := &server{refuse: refuse}
		smtpServer := smtp.NewServer(backend)
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		done := make(chan struct{})
		go func() { defer close(done); _ = smtpServer.Serve(l) }()
		way := Mail{To: []string{"grower@example.org"}, From: "rack@example.org", Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, Zone: time.UTC, Here: true}
		err = way.Send(t.Context(), Message{Trial: "spring", Condition: watch.Condition{Kind: watch.Silent, Since: time.Unix(0, 0), Says: "upper air is silent.\r\nBcc: x@example.org", Do: "Look at its supply."}})
		_ = smtpServer.Close()
		<-done
		if refuse {
			if err == nil || !strings.Contains(err.Error(), "no such mailbox") {
				t.Errorf("refused mail: error %v", err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		text := strings.ReplaceAll(backend.mails[0], "\r\n ", " ")
		for _, want := range []string{"Subject: spring: upper air is silent. Bcc: x@example.org", "Look at its supply.", "Since 1970-01-01 00:00 UTC."} {
			if !strings.Contains(text, want) {
				t.Errorf("the mail lacks %q:\n%s", want, text)
			}
		}
		header, _, _ := strings.Cut(text, "\r\n\r\n")
		if strings.Contains(header, "\r\nBcc:") {
			t.Error("a message's words became a header")
		}
	}
}
