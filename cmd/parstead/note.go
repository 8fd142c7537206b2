package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/store"
)

// noteCmd writes a line into the trial's log, or lists the log.
type noteCmd struct {
	Folder    string `arg:"" help:"The trial's folder."`
	Text      string `arg:"" optional:"" help:"What happened. Without text and --kind: list the log."`
	At        string `placeholder:"TIME" help:"When it happened; now unless given."`
	Bin       string `placeholder:"NAME" help:"The bin it concerns; the whole rack unless given."`
	Plant     string `placeholder:"CODE" help:"The plant it concerns."`
	Sensor    string `placeholder:"NAME" help:"The sensor it concerns."`
	Kind      string `placeholder:"KIND" help:"lamp_moved, lamp_cleaned, lamp_replaced, reflector_changed, sensor_moved, sensor_cleaned (these end a light map), flood_missed, power_cut, contaminated, treated, ignore, timed, mute, other."`
	From      string `placeholder:"TIME" help:"Where an ignored, timed or muted stretch or a power cut begins; --at unless given."`
	Until     string `placeholder:"TIME" help:"Where it ends; open unless given, a power cut until readings come back."`
	Withdraws uint64 `placeholder:"ID" help:"Take back the entry with this id. It stays in the log."`
	JSON      bool   `name:"json" help:"List as an array."`
}

// Help is what note --help says beside its options.
func (noteCmd) Help() string {
	return `Nothing is ever erased: what was wrong is withdrawn by a later entry. TIME is
RFC 3339, or 2026-07-21 14:05 in the trial's time zone; it may lie in the past,
and every figure from then on is computed anew. --at can't lie ahead of the clock.
A value that was entered at the page is corrected there, or in its sheet.

"ignore" sets a sensor's stretch aside. "timed" takes one back that was set aside
as untimed and came as it was read: its times of arrival count. "mute" silences
conditions for a stretch: all of a bin or sensor, or the one that the text names
first.
"power_cut" with --from and --until tells how long no lamp burnt: no light is
estimated for it, and no current counted.

Examples:
  parstead note mytrial "lamp raised by 5 cm" --kind lamp_moved --bin upper
  parstead note mytrial --kind ignore --sensor "upper light" \
      --from "2026-08-22 09:00" --until "2026-08-24 18:00"
  parstead note mytrial --kind power_cut \
      --from "2026-03-03 06:40" --until "2026-03-03 15:10"
  parstead note mytrial

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run writes or lists.
func (c *noteCmd) Run(e *env) error {
	t, err := trial.Open(c.Folder)
	if err != nil {
		return err
	}
	if c.Text == "" && c.Kind == "" && c.Withdraws == 0 {
		return c.list(e, t)
	}
	event, err := c.event(t, e.now())
	if err != nil {
		return err
	}
	id, err := store.AddEvent(e.ctx, c.Folder, store.Options{Now: e.now}, event)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, "entry %d: %s %s\n", id, event.Kind, during(event, t.Rack.Zone))
	return err
}

// during tells when an event was, or from when until when.
func during(event light.Event, zone *time.Location) string {
	clock := func(at time.Time) string { return at.In(zone).Format("2006-01-02 15:04") }
	switch span := event.During; {
	case span.From.IsZero():
		return "at " + clock(event.At)
	case span.Until.IsZero():
		return "from " + clock(span.From) + " on"
	default:
		return "from " + clock(span.From) + " until " + clock(span.Until)
	}
}

// aheadOfClock is how far ahead of this machine's clock another's may be, as for
// readings.
const aheadOfClock = 5 * time.Minute

// event is the entry that the command line asks for.
func (c *noteCmd) event(t *trial.Trial, now time.Time) (light.Event, error) {
	event := light.Event{
		At: now.UTC(), Written: now.UTC(), Kind: light.Other, Bin: c.Bin, Plant: c.Plant, Sensor: c.Sensor,
		Text: c.Text, Withdraws: c.Withdraws,
	}
	var err error
	if c.Withdraws != 0 {
		if c.Kind != "" {
			return event, usageError{"--withdraws takes an entry back and has no --kind of its own"}
		}
		event.Kind = light.Withdrawn
	} else if c.Kind != "" {
		if event.Kind, err = light.ParseKind(c.Kind); err != nil {
			return event, usageError{"--kind: " + err.Error()}
		}
	}
	for _, x := range []struct {
		flag, text string
		into       *time.Time
	}{{"--at", c.At, &event.At}, {"--from", c.From, &event.During.From}, {"--until", c.Until, &event.During.Until}} {
		if x.text == "" {
			continue
		}
		clock := trial.Clock{Zone: t.Rack.Zone}
		if *x.into, err = clock.Parse(x.text); err != nil {
			return event, usageError{x.flag + ": " + err.Error()}
		}
	}
	if event.Kind == light.PowerCut && c.At == "" && c.From != "" {
		event.At = event.During.From
	}
	if event.At.After(now.Add(aheadOfClock)) {
		flag := "--at"
		if c.At == "" {
			flag = "--from"
		}
		return event, usageError{fmt.Sprintf("%s: %s lies ahead of this machine's clock (%s), and a log tells what has happened: write it then, or set the clock right",
			flag, event.At.In(t.Rack.Zone).Format("2006-01-02 15:04"), now.In(t.Rack.Zone).Format("2006-01-02 15:04"))}
	}
	return event, c.refers(t, &event)
}

// refers checks what the entry is about and completes its stretch.
func (c *noteCmd) refers(t *trial.Trial, event *light.Event) error {
	cut := event.Kind == light.PowerCut
	stretch := event.Kind.OfStretch() || cut
	switch {
	case !stretch && (c.From != "" || c.Until != ""):
		return usageError{"--from and --until go with --kind ignore, timed, mute or power_cut"}
	case event.Kind == light.Timed && (event.Sensor == "" || c.From == "" || c.Until == ""):
		return usageError{"--kind timed needs --sensor, --from and --until: whose readings came when they were read, and when"}
	case event.Kind == light.Ignore && event.Sensor == "":
		return usageError{"--kind ignore needs --sensor: which one's readings are to be set aside"}
	}
	if stretch && event.During.From.IsZero() && (!cut || c.Until != "") {
		event.During.From = event.At
	}
	if u := event.During.Until; !u.IsZero() && !event.During.From.Before(u) {
		return usageError{"--until must be later than --from"}
	}
	return t.CheckSubject(*event)
}

func (c *noteCmd) list(e *env, t *trial.Trial) error {
	view, err := store.OpenFolder(e.ctx, c.Folder)
	if err != nil {
		return err
	}
	defer view.Close() //nolint:errcheck // it only read
	log, err := view.Events(e.ctx)
	if err != nil {
		return err
	}
	if c.JSON {
		return printJSON(e.stdout, light.Entries(log))
	}
	if len(log) == 0 {
		_, err := fmt.Fprintln(e.stdout, "The log is empty.")
		return err
	}
	return printLog(e.stdout, log, t.Rack.Zone)
}

func printLog(w io.Writer, log []light.Event, zone *time.Location) error {
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for i, x := range light.Entries(log) {
		where := strings.Join(strings.Fields(strings.Join([]string{x.Bin, x.Sensor, x.Plant}, " ")), " ")
		text := x.Text
		if x.Withdraws != 0 {
			text = strings.TrimSpace(fmt.Sprintf("withdraws %d. %s", x.Withdraws, text))
		}
		if x.From != "" {
			text = strings.TrimSpace("(" + during(log[i], zone) + ") " + text)
		}
		if x.Withdrawn {
			text = "(withdrawn) " + text
		}
		fmt.Fprintf(table, "%d\t%s\t%s\t%s\t%s\n", x.ID, log[i].At.In(zone).Format("2006-01-02 15:04"), x.Kind, where, text)
	}
	return table.Flush()
}

// printJSON writes one value, with nothing else on the line.
func printJSON(w io.Writer, value any) error {
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	return out.Encode(value)
}
