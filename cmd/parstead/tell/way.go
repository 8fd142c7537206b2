package tell

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os/exec"
	"strings"
	"time"

	"github.com/wneessen/go-mail"
)

// Way is a means of sending one message.
type Way interface {
	// Send returns once the message is handed over, or says why it is not.
	Send(context.Context, Message) error
}

// sendTimeout bounds one attempt of either way.
const sendTimeout = 30 * time.Second

// Command is a program that gets each message as one JSON object on its
// standard input and ends with status 0 when it has sent it.
type Command []string

// Send runs the program.
func (c Command) Send(ctx context.Context, m Message) error {
	object, err := json.Marshal(m)
	if err != nil {
		return fmt.Errorf("write the message as JSON: %w", err)
	}
	ctx, cancel := context.WithTimeout(ctx, sendTimeout)
	defer cancel()
	program := exec.CommandContext(ctx, c[0], c[1:]...)
	program.Stdin = bytes.NewReader(append(object, '\n'))
	program.WaitDelay = time.Second
	out, err := program.CombinedOutput()
	if err != nil {
		if ctx.Err() != nil {
			err = fmt.Errorf("not done within %s", sendTimeout)
		}
		return fmt.Errorf("[tell] command %s: %w%s", c[0], err, lastWords(out))
	}
	return nil
}

func lastWords(out []byte) string {
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	last := lines[len(lines)-1]
	if last == "" {
		return ""
	}
	return " (" + last[:min(len(last), 200)] + ")"
}

// Mail is a mail server that takes messages in.
type Mail struct {
	To       []string
	From     string
	Host     string
	Port     int
	Username string
	Password string
	Zone     *time.Location
	// Plain allows an unencrypted connection; only for a server on this machine.
	Plain bool
}

// Send delivers the message to the server.
func (m Mail) Send(ctx context.Context, message Message) error {
	mailed := mail.NewMsg()
	if err := errors.Join(mailed.From(m.From), mailed.To(m.To...)); err != nil {
		return fmt.Errorf("[tell] mail: %w; mend the addresses in trial.toml", err)
	}
	mailed.Subject(message.Subject())
	mailed.SetBodyString(mail.TypeTextPlain, message.Text(m.Zone))
	mailed.SetDate()
	mailed.SetMessageID()
	options := []mail.Option{mail.WithPort(m.Port), mail.WithTimeout(sendTimeout), mail.WithTLSPolicy(mail.TLSMandatory)}
	switch {
	case m.Plain:
		options = append(options, mail.WithTLSPolicy(mail.NoTLS))
	case m.Port == 465: // submission over implicit TLS, RFC 8314
		options = append(options, mail.WithSSL())
	}
	if m.Username != "" {
		kind := mail.SMTPAuthAutoDiscover
		if m.Plain {
			kind = mail.SMTPAuthPlainNoEnc
		}
		options = append(options, mail.WithSMTPAuth(kind), mail.WithUsername(m.Username), mail.WithPassword(m.Password))
	}
	client, err := mail.NewClient(m.Host, options...)
	if err != nil {
		return fmt.Errorf("[tell] mail through %s: %w", m.Host, err)
	}
	if err := client.DialAndSendWithContext(ctx, mailed); err != nil {
		return fmt.Errorf("[tell] mail through %s:%d: %w", m.Host, m.Port, err)
	}
	return nil
}
