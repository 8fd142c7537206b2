package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"

	"golang.org/x/sync/errgroup"

	"parstead/cmd/parstead/daemon"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/ingest/broker"
	"parstead/light"
	"parstead/store"
)

// topicsCmd tells what arrives at the broker now.
type topicsCmd struct {
	Folder string        `arg:"" help:"The trial's folder."`
	For    time.Duration `default:"30s" placeholder:"30s" help:"How long to listen."`
	JSON   bool          `name:"json" help:"Print an array of {topic,pointer,example,every,sensor,wrong}."`
}

// Help is what topics --help says beside its options.
func (topicsCmd) Help() string {
	return `Listens for a while and prints every number that arrives: its topic, the JSON
Pointer to it in the payload, an example, how often it comes, and the sensor of
trial.toml that it belongs to; for one that belongs to none, a [[sensor]] to
paste into trial.toml. Listen for two of a sensor's intervals or longer.

With another broker this is one more subscriber of everything. With the embedded
one the daemon is asked; where none runs, this command is the broker while it
listens, and what arrives then is not stored.

Example: parstead topics mytrial --for 2m

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// arrival is a number that arrives, as --json lists it.
type arrival struct {
	Topic   string `json:"topic"`
	Pointer string `json:"pointer"` // "" where the payload is the number
	Example string `json:"example"`
	Every   string `json:"every"`  // "" where it came once
	Sensor  string `json:"sensor"` // "" where it belongs to none
	Wrong   string `json:"wrong"`  // what is wrong with the sensor's time; "" for nothing
}

// Run listens and prints.
func (c *topicsCmd) Run(e *env) error {
	if c.For < time.Second || c.For > daemon.LongestListen {
		return usageError{fmt.Sprintf("--for %s: listen for 1s to %s", c.For, daemon.LongestListen)}
	}
	t, err := trial.OpenToRun(c.Folder)
	if err != nil {
		return err
	}
	heard, err := c.listen(e, t)
	if err != nil {
		return err
	}
	heard.Found = slices.DeleteFunc(heard.Found, func(f ingest.Found) bool { return conditionTopic.MatchString(f.Topic) })
	owners := owners(t)
	list := make([]arrival, 0, len(heard.Found))
	for _, f := range heard.Found {
		every := ""
		if f.Every > 0 {
			every = max(f.Every.Round(time.Second), time.Second).String()
		}
		list = append(list, arrival{f.Topic, f.Pointer, f.Example, every, owners[address{f.Topic, f.Pointer}], f.Timeless})
	}
	if heard.Dropped > 0 {
		fmt.Fprintf(e.stderr, "parstead: there are more topics than can be listed; %d messages of others came\n", heard.Dropped)
	}
	if c.JSON {
		return printJSON(e.stdout, list)
	}
	return printArrivals(e.stdout, t, list, heard.Found)
}

// conditionTopic matches what parstead itself publishes.
var conditionTopic = regexp.MustCompile(`^parstead/[^/]*/conditions/`)

// listen gets what arrives from the daemon, from the broker, or as the broker.
func (c *topicsCmd) listen(e *env, t *trial.Trial) (daemon.Heard, error) {
	if !t.Broker.Embedded {
		fmt.Fprintf(e.stderr, "listening at %s for %s\n", t.Broker.URL, c.For)
		return listenAt(e, t, c.For)
	}
	_, err := os.Stat(filepath.Join(c.Folder, store.SocketName))
	if err == nil {
		fmt.Fprintf(e.stderr, "the daemon listens for %s\n", c.For)
		heard, err := daemon.Ask(e.ctx, c.Folder, c.For)
		if !errors.Is(err, daemon.ErrNone) {
			return heard, err
		}
	}
	return listenAs(e, t, c.For)
}

// listenAt subscribes to everything at another broker.
func listenAt(e *env, t *trial.Trial, patience time.Duration) (daemon.Heard, error) {
	l, err := ingest.Listen(ingest.SystemClock(), t.Feeds)
	if err != nil {
		return daemon.Heard{}, err
	}
	r := t.Remote()
	r.ClientID += "-topics" // or the daemon's session would be taken over
	var mu sync.Mutex
	connected, cause := false, error(nil)
	session, err := ingest.NewSession(ingest.SessionConfig{
		Remote: r, Filters: []string{"#"}, Taker: l, Log: slog.New(slog.DiscardHandler), Passing: true,
		OnState: func(s ingest.State) {
			mu.Lock()
			defer mu.Unlock()
			connected = connected || s.Connected
			if s.Err != nil && !errors.Is(s.Err, ingest.ErrEnded) {
				cause = s.Err
			}
		},
	})
	if err != nil {
		return daemon.Heard{}, fmt.Errorf("[broker]: %w", err)
	}
	if err := forAWhile(e.ctx, patience, session.Run); err != nil {
		return daemon.Heard{}, err
	}
	mu.Lock()
	defer mu.Unlock()
	heard := daemon.Heard{Found: l.Found(), Dropped: l.Dropped()}
	switch {
	case !connected && cause == nil:
		return daemon.Heard{}, fmt.Errorf("no connection to %s: it does not answer; see that it runs and that [broker] is right", t.Broker.URL)
	case !connected:
		return daemon.Heard{}, fmt.Errorf("no connection to %s: see that it runs and that [broker] is right (%w)", t.Broker.URL, cause)
	case errors.Is(cause, ingest.ErrRefused):
		return daemon.Heard{}, fmt.Errorf("%s does not let this trial's client listen to everything, as parstead topics must: allow it for a while, or write the sensors' topics into trial.toml by hand (%w)", t.Broker.URL, cause)
	case cause != nil && len(heard.Found) == 0:
		return daemon.Heard{}, fmt.Errorf("nothing heard at %s before it closed the connection: see that it lets this trial's client subscribe to everything (#), as parstead topics must (%w)", t.Broker.URL, cause)
	}
	return heard, nil
}

// listenAs is the broker for a while.
func listenAs(e *env, t *trial.Trial, patience time.Duration) (daemon.Heard, error) {
	l, err := ingest.Listen(ingest.SystemClock(), t.Feeds)
	if err != nil {
		return daemon.Heard{}, err
	}
	config := broker.Config{Listen: t.Broker.Listen, Taker: l, Log: slog.New(slog.DiscardHandler)}
	if config.Sensors, _, err = t.Broker.Logins(); err != nil {
		return daemon.Heard{}, err
	}
	b, err := broker.Open(config)
	if err != nil {
		return daemon.Heard{}, err
	}
	fmt.Fprintf(e.stderr, "no daemon runs: being the broker at %s for %s; what arrives is not stored\n", b.Addr(), patience)
	if err := forAWhile(e.ctx, patience, b.Run); err != nil {
		return daemon.Heard{}, err
	}
	return daemon.Heard{Found: l.Found(), Dropped: l.Dropped()}, nil
}

// forAWhile runs work for so long, or until ctx ends.
func forAWhile(ctx context.Context, patience time.Duration, work func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	var g errgroup.Group
	g.Go(func() error { return work(ctx) })
	return g.Wait()
}

// address is where a number arrives.
type address struct{ topic, pointer string }

// owners names the sensor of each address.
func owners(t *trial.Trial) map[address]string {
	owner := map[address]string{}
	for _, f := range t.Feeds {
		for _, one := range f.Expand() {
			owner[address{one.Topic, one.Value}] = one.Sensor.Name
		}
	}
	return owner
}

// printArrivals lists what came, then blocks for what belongs to no sensor.
func printArrivals(w io.Writer, t *trial.Trial, list []arrival, found []ingest.Found) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(w, "Nothing arrived that holds a number. See that the sensors publish to this\nbroker, or listen longer: --for 5m.")
		return err
	}
	loose, wrong := 0, 0
	for _, a := range list {
		line := plain(a.Topic)
		if a.Pointer != "" {
			line += " " + plain(a.Pointer)
		}
		line += ": " + plain(a.Example)
		if a.Every != "" {
			line += ", every " + a.Every
		}
		if a.Sensor == "" {
			line += ", no sensor yet"
			loose++
		} else {
			line += ", sensor " + a.Sensor
		}
		if a.Wrong != "" {
			line += "; " + plain(a.Wrong)
			wrong++
		}
		fmt.Fprintln(w, line)
	}
	if loose == 0 {
		says := "\nEach belongs to a sensor."
		if wrong > 0 {
			says += " What comes without its time is stored, but not used."
		}
		_, err := fmt.Fprintln(w, says)
		return err
	}
	_, err := fmt.Fprintln(w)
	wrapped(w, "", "", "To paste into trial.toml. See that measures ("+light.AnyQuantity()+") and bin are right, and give each a name:")
	for i, a := range list {
		if a.Sensor == "" && err == nil {
			_, err = io.WriteString(w, sensorBlock(t, a, found[i]))
		}
	}
	return err
}

// plain drops what a terminal might obey.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '?'
	}, s)
}

// sensorBlock is a [[sensor]] for a number that belongs to none yet.
func sensorBlock(t *trial.Trial, a arrival, f ingest.Found) string {
	measures, sure := light.GuessQuantity(a.Pointer)
	if !sure {
		measures, sure = light.GuessQuantity(a.Topic)
		sure = sure && a.Pointer == "" // else it may be of another number in the payload
	}
	if measures == 0 {
		measures = light.QuantityPPFD
	}
	var b strings.Builder
	line := func(key, value, remark string) {
		if remark != "" {
			remark = " # " + remark
		}
		fmt.Fprintf(&b, "%-11s = %s%s\n", key, quoted(value), remark)
	}
	b.WriteString("\n[[sensor]]\n")
	line("name", strings.Trim(strings.NewReplacer("/", " ").Replace(a.Topic+a.Pointer), " "), "")
	remark := ""
	if !sure {
		remark = "a guess"
	}
	line("measures", measures.String(), remark)
	bin, remark := t.Rack.Bins[0].Name, "a guess"
	for _, x := range t.Rack.Bins {
		if strings.Contains(a.Topic, x.Name) {
			bin, remark = x.Name, ""
		}
	}
	line("bin", bin, remark)
	line("topic", a.Topic, "")
	if a.Pointer != "" {
		line("value", a.Pointer, "")
	}
	if f.Time != "" {
		line("time", f.Time, "")
		if f.TimeFormat != ingest.RFC3339 {
			line("time_format", string(f.TimeFormat), "")
		}
	}
	if a.Every != "" {
		line("every", a.Every, "")
	}
	return b.String()
}

// quoted writes a string as TOML does: as JSON, and DEL escaped too.
func quoted(s string) string {
	text, err := json.Marshal(s)
	if err != nil {
		panic("parstead: " + err.Error()) // a string always has a JSON form
	}
	return strings.ReplaceAll(string(text), "\x7f", `\u007f`)
}
