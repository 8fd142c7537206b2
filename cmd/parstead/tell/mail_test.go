package tell

import (
	"bufio"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"io"
	"math/big"
	"net"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
)

// secured keeps whether a session spoke TLS.
type secured struct {
	server
	under []bool
}

func (s *secured) NewSession(c *smtp.Conn) (smtp.Session, error) {
	_, ok := c.TLSConnectionState()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.under = append(s.under, ok)
	return s, nil
}

// A server on this machine that offers STARTTLS (RFC 3207) is spoken to under TLS,
// whoever signed its certificate; a server elsewhere has to be who it says.
func TestMailUnderTLSOnThisMachine(t *testing.T) {
	t.Parallel()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	of := &x509.Certificate{SerialNumber: big.NewInt(1), DNSNames: []string{"rack.example"}, NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(rand.Reader, of, of, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	backend := &secured{}
	smtpServer := smtp.NewServer(backend)
	smtpServer.TLSConfig = &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() { defer close(done); _ = smtpServer.Serve(l) }()
	way := Mail{To: []string{"grower@example.org"}, From: "rack@example.org", Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, Zone: time.UTC, Here: true}
	err = way.Send(t.Context(), Message{Trial: "spring"})
	backend.mu.Lock()
	under := slices.Clone(backend.under) // one session before STARTTLS, one after
	backend.mu.Unlock()
	elsewhere := way
	elsewhere.Here = false
	refused := elsewhere.Send(t.Context(), Message{Trial: "spring"})
	_ = smtpServer.Close()
	<-done
	if err != nil || len(backend.mails) != 1 || len(under) == 0 || !under[len(under)-1] {
		t.Errorf("%v, %d mails, sessions under TLS: %v", err, len(backend.mails), under)
	}
	if refused == nil || !strings.Contains(refused.Error(), "certificate") {
		t.Errorf("an unknown certificate elsewhere: %v", refused)
	}
}

type written string

func (w written) Read() (string, error) { return string(w), nil }

// Whatever a server answers, the error has its words.
func TestMailErrorsHaveTheServersWords(t *testing.T) {
	t.Parallel()
	words := []string{
		"greeting:554 5.3.2 closed for the season", "EHLO:550 5.7.1 who are you", "AUTH:535 5.7.8 no such account", "MAIL:451 4.3.0 the queue is full",
		"RCPT:550 5.1.1 no such mailbox", "DATA:554 5.6.0 not today", "end:552 5.2.2 the mailbox is full",
	}
	for _, w := range words {
		at, answer, _ := strings.Cut(w, ":")
		address := answering(t, at, answer)
		m := Mail{To: []string{"grower@example.org"}, From: "rack@example.org", Host: "127.0.0.1", Port: address.Port, Username: "rack", Password: written("secret"), Zone: time.UTC, Here: true}
		err := m.Send(t.Context(), Message{Trial: "spring"})
		if err == nil || !strings.Contains(err.Error(), answer[4:]) || !strings.Contains(err.Error(), answer[:3]) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", w, err)
		}
	}
}

// answering is a server that answers so at one point, and well at all others.
func answering(t *testing.T, at, answer string) *net.TCPAddr {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	t.Cleanup(func() { _ = l.Close(); <-done })
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			serve(c, at, answer)
		}
	}()
	return l.Addr().(*net.TCPAddr)
}

func serve(c io.ReadWriteCloser, at, answer string) {
	defer c.Close() //nolint:errcheck // a test's end
	say := func(step, well string) {
		if step == at {
			well = answer
		}
		_, _ = fmt.Fprintf(c, "%s\r\n", well)
	}
	say("greeting", "220 here")
	in := bufio.NewScanner(c)
	for in.Scan() {
		switch verb, _, _ := strings.Cut(strings.ToUpper(in.Text()), " "); verb {
		case "EHLO":
			say("EHLO", "250-here\r\n250 AUTH PLAIN")
		case "HELO":
			say("EHLO", "250 here")
		case "AUTH":
			say("AUTH", "235 2.7.0 well")
		case "MAIL", "RCPT":
			say(verb, "250 2.0.0 well")
		case "DATA":
			say("DATA", "354 go on")
			if at == "DATA" {
				continue
			}
			for in.Scan() && in.Text() != "." {
			}
			say("end", "250 2.0.0 well")
		case "QUIT":
			say("QUIT", "221 bye")
			return
		default:
			say("", "250 well")
		}
	}
}
