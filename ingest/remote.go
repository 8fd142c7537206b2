package ingest

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// Remote says where another broker is and how it knows us.
type Remote struct {
	URL          string // tcp://host:1883, ssl://host:8883, ws://host/path or wss://host/path
	ClientID     string // fixed, so that the broker keeps a session for it
	Username     string
	PasswordFile string // its first line
	CAFile       string // PEM; "": the system's authorities
	CertFile     string // PEM, with KeyFile: the client's certificate
	KeyFile      string
}

const dialTime = 10 * time.Second

// check finds what is wrong without looking at any file.
func (r *Remote) check() (*url.URL, error) {
	u, err := url.Parse(r.URL)
	if err != nil {
		return nil, fmt.Errorf("broker url %q can't be read: write it like tcp://host:1883", r.URL)
	}
	ports := map[string]string{"tcp": "1883", "ssl": "8883", "ws": "", "wss": ""}
	port, known := ports[u.Scheme]
	switch {
	case !known || u.Hostname() == "":
		return nil, fmt.Errorf("broker url %q: use tcp://host:1883, ssl://host:8883, ws:// or wss://", r.URL)
	case u.User != nil:
		return nil, errors.New("broker url holds a user name: use username and password_file, so that no password stands in the trial's file")
	case r.ClientID == "":
		return nil, errors.New("broker client_id is empty: the broker keeps what comes while we are away under it")
	case (r.CertFile == "") != (r.KeyFile == ""):
		return nil, errors.New("broker cert_file and key_file go together: give both or none")
	case u.Scheme != "ssl" && u.Scheme != "wss" && (r.CAFile != "" || r.CertFile != ""):
		return nil, fmt.Errorf("broker url %q is not encrypted, but ca_file or cert_file is given: use ssl:// or wss://", r.URL)
	}
	if u.Port() == "" && port != "" {
		u.Host = net.JoinHostPort(u.Hostname(), port)
	}
	return u, nil
}

// password reads the first line of the password file.
func (r *Remote) password() (string, error) {
	if r.PasswordFile == "" {
		return "", nil
	}
	b, err := os.ReadFile(r.PasswordFile)
	if err != nil {
		return "", fmt.Errorf("broker password_file: %w", err)
	}
	line, _, _ := strings.Cut(string(b), "\n")
	return strings.TrimSuffix(line, "\r"), nil
}

// tls reads the certificates.
func (r *Remote) tls(u *url.URL) (*tls.Config, error) {
	c := &tls.Config{ServerName: u.Hostname(), MinVersion: tls.VersionTLS12}
	if r.CAFile != "" {
		pem, err := os.ReadFile(r.CAFile)
		if err != nil {
			return nil, fmt.Errorf("broker ca_file: %w", err)
		}
		c.RootCAs = x509.NewCertPool()
		if !c.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("broker ca_file %s holds no certificate: it must be PEM", r.CAFile)
		}
	}
	if r.CertFile != "" {
		pair, err := tls.LoadX509KeyPair(r.CertFile, r.KeyFile)
		if err != nil {
			return nil, fmt.Errorf("broker cert_file and key_file: %w", err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return c, nil
}

// open makes the network connection.
func (r *Remote) open(ctx context.Context, u *url.URL) (net.Conn, error) {
	secure, err := r.tls(u)
	if err != nil {
		return nil, err
	}
	dialer := &net.Dialer{Timeout: dialTime}
	switch u.Scheme {
	case "tcp":
		return dialer.DialContext(ctx, "tcp", u.Host)
	case "ssl":
		return (&tls.Dialer{NetDialer: dialer, Config: secure}).DialContext(ctx, "tcp", u.Host)
	default:
		return mqtt.NewWebsocket(u.String(), secure, dialTime, nil, nil)
	}
}
