package tell

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"time"

	"github.com/wneessen/go-mail"
)

// Secret is a password that is kept elsewhere.
type Secret interface{ Read() (string, error) }

// Mail is a mail server that takes messages in.
type Mail struct {
	To       []string
	From     string
	Host     string
	Port     int
	Username string
	Password Secret // nil without one
	Zone     *time.Location
	// Here tells that the server is on this machine: it may offer no TLS, and what
	// certificate it has is not looked at, since nothing leaves the machine.
	Here bool
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
	case m.Port == 465: // submission over implicit TLS, RFC 8314
		options = append(options, mail.WithSSL())
	case m.Here:
		options = append(options, mail.WithTLSPolicy(mail.TLSOpportunistic))
	}
	if m.Here {
		options = append(options, mail.WithTLSConfig(&tls.Config{ServerName: m.Host, MinVersion: tls.VersionTLS12, InsecureSkipVerify: true}))
	}
	if m.Username != "" {
		kind := mail.SMTPAuthAutoDiscover
		if m.Here {
			kind = mail.SMTPAuthPlainNoEnc // under TLS too, where the server offers it
		}
		password, err := m.Password.Read()
		if err != nil {
			return fmt.Errorf("[tell] mail password_file: %w", err)
		}
		options = append(options, mail.WithSMTPAuth(kind), mail.WithUsername(m.Username), mail.WithPassword(password))
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
