package trial

import (
	"fmt"
	"net"
	"net/mail"
	"os/exec"
	"strings"

	"parstead/cmd/parstead/tell"
	"parstead/ingest/broker"
	"parstead/light"
)

// Tell says how the grower hears of trouble.
type Tell struct {
	Way   tell.Way
	Daily *light.TimeOfDay // when to send a line even if all is well; nil for never
}

// ways are the keys of [tell] of which one says how: each reads its value.
var ways = []struct {
	key  string
	read func(*loader, *table) tell.Way
}{
	{"command", (*loader).readCommand},
	{"mail", (*loader).readMail},
}

func (l *loader) readTell(t *table, present bool) {
	said := &Tell{}
	var keys, given []string
	for _, w := range ways {
		keys = append(keys, w.key)
		way := w.read(l, t)
		if t.has(w.key) {
			given, said.Way = append(given, w.key), way
		}
	}
	if at, ok := t.clock("daily", "08:00"); ok {
		said.Daily = &at
	}
	t.finish()
	if !present {
		return
	}
	switch len(given) {
	case 0:
		t.fault("", "[tell] doesn't say how", "add "+strings.Join(keys, " or ")+", or remove [tell]")
	case 1:
	default:
		t.fault(given[1], fmt.Sprintf("[tell] has both %s and %s", given[0], given[1]), "keep one of the two")
	}
	l.Tell = said
}

func (l *loader) readCommand(t *table) tell.Way {
	command, _ := t.texts("command", `["/usr/local/bin/send"]`)
	if len(command) > 0 {
		if _, err := exec.LookPath(command[0]); err != nil {
			t.warn("command", fmt.Sprintf("the program %s is not found on this machine", command[0]), "install it, or write its whole path")
		}
	}
	return tell.Command(command)
}

const mailPort = 587 // message submission, RFC 6409

func (l *loader) readMail(of *table) tell.Way {
	t, present := of.table("mail")
	if !present {
		return nil
	}
	m := tell.Mail{Port: mailPort, Zone: l.Rack.Zone}
	m.To, _ = t.texts("to", `"grower@example.org"`)
	m.From, _ = t.text("from", "rack@example.org")
	for _, address := range m.To {
		checkAddress(t, "to", address)
	}
	if m.From != "" {
		checkAddress(t, "from", m.From)
	}
	m.Host, _ = t.text("host", "mail.example.org")
	m.Here = broker.Loopback(net.JoinHostPort(m.Host, "25"))
	if port, ok := t.whole("port", "587", 1, 65535); ok {
		m.Port = port
	}
	m.Username, _ = t.text("username", "rack")
	if secret := l.secret(t, "password_file"); secret != "" {
		m.Password = secret
	}
	t.need("to", "from", "host")
	if t.has("username") != t.has("password_file") {
		t.fault("", "the mail server's username and password_file go together", "give both, or neither")
	}
	t.finish()
	return m
}

func checkAddress(t *table, key, address string) {
	if _, err := mail.ParseAddress(address); err != nil {
		t.fault(key, fmt.Sprintf("%q is no mail address", address), "write it like grower@example.org")
	}
}
