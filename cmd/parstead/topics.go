package main

import (
	"fmt"
	"io"
	"strings"
	"time"
	"unicode"

	"parstead/cmd/parstead/daemon"
	"parstead/cmd/parstead/topics"
	"parstead/cmd/parstead/trial"
	"parstead/light"
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

// Run listens and prints.
func (c *topicsCmd) Run(e *env) error {
	if c.For < time.Second || c.For > daemon.LongestListen {
		return usageError{fmt.Sprintf("--for %s: listen for 1s to %s", c.For, daemon.LongestListen)}
	}
	t, err := trial.OpenToRun(c.Folder)
	if err != nil {
		return err
	}
	heard, err := topics.Listen(e.ctx, t, c.For, e.stderr)
	if err != nil {
		return err
	}
	list := topics.Arrivals(t, heard)
	if heard.Dropped > 0 {
		fmt.Fprintf(e.stderr, "parstead: there are more topics than can be listed; %d messages of others came\n", heard.Dropped)
	}
	if c.JSON {
		return printJSON(e.stdout, list)
	}
	return printArrivals(e.stdout, t, list)
}

// printArrivals lists what came, then blocks for what belongs to no sensor.
func printArrivals(w io.Writer, t *trial.Trial, list []topics.Arrival) error {
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
	for _, a := range list {
		if a.Sensor == "" && err == nil {
			_, err = io.WriteString(w, a.Block(t))
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
