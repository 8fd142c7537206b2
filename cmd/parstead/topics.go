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
	JSON   bool          `name:"json" help:"Print an array of {topic,pointer,example,every,sensor,wrong,likely}; also_in where another trial counts it too."`
}

// Help is what topics --help says beside its options.
func (topicsCmd) Help() string {
	return `Listens for a while and prints all that arrives: the topic, the JSON Pointer to the
number in the payload, an example, how often it comes, and the sensor of
trial.toml that it belongs to. What is no number is listed as it came, with what
to do; first of all what sensors of the trial can't read. For what is likely to
be light, air or water and belongs to no sensor, a [[sensor]] to paste into
trial.toml; for other numbers the same, commented out. Listen for two of a
sensor's intervals or longer.

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
	silent := ""
	if names := topics.Silent(t, heard); len(names) > 0 {
		silent = fmt.Sprintf("Nothing came in %s from: %s.", c.For, plain(strings.Join(names, ", ")))
	}
	return printArrivals(e.stdout, t, list, silent)
}

// printArrivals lists what came, then who was silent, then blocks for what belongs to
// no sensor.
func printArrivals(w io.Writer, t *trial.Trial, list []topics.Arrival, silent string) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(w, "Nothing arrived. See that the sensors publish to this broker, or listen\nlonger: --for 5m.")
		return err
	}
	likely, other, unread := 0, 0, 0
	for _, a := range list {
		printArrival(w, a)
		switch {
		case a.Unread():
			unread++
		case a.Sensor != "" || a.NoNumber():
		case a.Likely:
			likely++
		default:
			other++
		}
	}
	switch {
	case unread > 0:
		fmt.Fprintln(w, "\nWhat sensors can't read stands first. What only lacks its time is stored, but\nnot used.")
	case likely+other == 0:
		fmt.Fprintln(w, "\nEach number belongs to a sensor.")
	}
	if silent != "" {
		wrapped(w, "\n", "", silent)
	}
	says := ""
	switch {
	case likely > 0:
		says = "To paste into trial.toml. See that measures (" + light.AnyQuantity() + ") and bin are right, and give each a name:"
	case other > 0:
		says = "Nothing that is surely light, air or water. Where you know better, paste, take off the # and say what it measures (" + light.AnyQuantity() + "):"
	default:
		return nil
	}
	wrapped(w, "\n", "", says)
	for _, ofLikely := range []bool{true, false} {
		for _, a := range list {
			if a.Sensor != "" || a.NoNumber() || a.Likely != ofLikely {
				continue
			}
			if _, err := io.WriteString(w, a.Block(t)); err != nil {
				return err
			}
		}
	}
	return nil
}

// printArrival is one line, folded.
func printArrival(w io.Writer, a topics.Arrival) {
	line := plain(a.Topic)
	if a.Pointer != "" {
		line += " " + plain(a.Pointer)
	}
	line += ": " + plain(a.Example)
	switch {
	case a.Kept():
		line += ", kept by the broker"
	case a.Every != "":
		line += ", every " + a.Every
	}
	switch {
	case a.Sensor != "":
		line += ", sensor " + a.Sensor
	case !a.NoNumber():
		line += ", no sensor yet"
	}
	if len(a.AlsoIn) > 0 {
		line += "; counted by another trial too: " + plain(strings.Join(a.AlsoIn, ", "))
	}
	if a.Wrong != "" {
		line += "; " + plain(a.Wrong)
	}
	wrapped(w, "", "    ", line)
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
