package trial

import (
	"fmt"
	"net"
	"path/filepath"
	"strings"

	"parstead/ingest"
)

// FolderName is what the trial's folder is called, which tells it from others where
// names may be alike.
func (t *Trial) FolderName() string {
	path, err := filepath.Abs(t.Dir)
	if err != nil {
		path = t.Dir
	}
	return filepath.Base(path)
}

// Beside finds where trials that are watched side by side are in one another's way: on
// this machine, or at a broker that they share.
func Beside(trials []*Trial) []Problem {
	var found problems
	for i, t := range trials {
		for _, other := range trials[:i] {
			at := place{file: filepath.Join(t.Dir, configFile)}
			sameMachine(&found, at, t, other)
			if !t.Broker.Embedded && t.Broker.URL == other.Broker.URL {
				sameBroker(&found, at, t, other)
			}
		}
	}
	return found.list
}

// sameMachine finds addresses that two daemons can't both listen on.
func sameMachine(found *problems, at place, t, other *Trial) {
	if clash(t.Page.Listen, other.Page.Listen) {
		found.fault(at, fmt.Sprintf("its page listens at %s, where that of %s does", t.Page.Listen, other.Dir),
			"give each rack a listen of its own under [page]")
	}
	if t.Broker.Embedded && other.Broker.Embedded && clash(t.Broker.Listen, other.Broker.Listen) {
		found.fault(at, fmt.Sprintf("its broker listens at %s, where that of %s does", t.Broker.Listen, other.Dir),
			"give each rack a listen of its own under [broker], or all of them one broker by its url")
	}
}

// clash tells whether two addresses to listen on have a port in common.
func clash(a, b string) bool {
	hostA, portA, errA := net.SplitHostPort(a)
	hostB, portB, errB := net.SplitHostPort(b)
	if errA != nil || errB != nil || portA != portB || portA == "0" {
		return false
	}
	every := func(host string) bool {
		ip := net.ParseIP(host)
		return host == "" || ip != nil && ip.IsUnspecified()
	}
	return hostA == hostB || every(hostA) || every(hostB)
}

// sameBroker finds what two trials must not have in common at one broker.
func sameBroker(found *problems, at place, t, other *Trial) {
	if id := t.Remote().ClientID; id == other.Remote().ClientID {
		found.fault(at, fmt.Sprintf("it calls itself %q at the broker, as %s does: the broker would throw out the one whenever the other comes", id, other.Dir),
			"give each rack a client_id of its own under [broker], or each trial a name of its own")
	}
	if t.Name == other.Name {
		found.warn(at, fmt.Sprintf("the trial is called %q, as that of %s: what the broker keeps of the two would be mixed up", t.Name, other.Dir),
			"give each trial a name of its own")
	}
	if both := InCommon(t.LightTopics(), other.LightTopics()); len(both) > 0 {
		found.warn(at, fmt.Sprintf("light sensors count here and in %s: %s", other.Dir, listed(both)),
			"if one was copied from the other, give its sensors topics of their own; if both are meant to count one, write shared = true in its [[sensor]]")
	}
}

// LightTopics are where the trial's light sensors publish, each with its pointer: a light
// sensor hangs at one place, so that another trial that reads it too may be a slip. A
// thermometer may well serve several racks, and a sensor that is called shared is meant to.
func (t *Trial) LightTopics() []string {
	var topics []string
	for i, f := range t.Feeds {
		if !f.Sensor.Measures.IsLight() || t.shared[i] {
			continue
		}
		for _, one := range f.Expand() {
			topics = append(topics, topicOf(one))
		}
	}
	return topics
}

// topicOf is a sensor's address at a broker, in a line.
func topicOf(f ingest.Feed) string { return strings.TrimSpace(f.Topic + " " + f.Value) }

// InCommon lists what is in both, in the order of the first.
func InCommon(a, b []string) []string {
	inB := map[string]bool{}
	for _, x := range b {
		inB[x] = true
	}
	var both []string
	for _, x := range a {
		if inB[x] {
			both = append(both, x)
			inB[x] = false
		}
	}
	return both
}

// listed names the first few of many.
func listed(names []string) string {
	const few = 3
	if len(names) <= few {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:few], ", "), len(names)-few)
}
