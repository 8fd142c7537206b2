package trial

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/url"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"parstead/ingest/broker"
)

// DefaultPage is where the page listens unless trial.toml says otherwise.
const DefaultPage = "127.0.0.1:8620"

const (
	brokerListen = "127.0.0.1:1883"
	backupsKept  = 14
)

func (l *loader) readBroker(t *table, _ bool) {
	b := &l.Broker
	b.URL = "embedded"
	if s, ok := t.text("url", "embedded"); ok {
		b.URL = s
	}
	listen, ok := listenAddress(t, brokerListen)
	b.ClientID, _ = t.text("client_id", "greenhouse")
	b.Username, _ = t.text("username", "rack")
	b.Password = l.secret(t, "password_file")
	b.Reader, _ = t.text("reader", "phone")
	b.ReaderPassword = l.secret(t, "reader_password_file")
	b.CAFile = l.authorities(t)
	b.CertFile, b.KeyFile = l.certificate(t)
	if t.has("password_file") && !t.has("username") {
		t.fault("password_file", "password_file is there without username", "add username, or remove password_file")
	}

	if b.URL == "embedded" {
		b.Embedded, b.URL, b.Listen = true, "", listen
		if t.has("reader") != t.has("reader_password_file") {
			t.fault("", "reader and reader_password_file go together", "give both, or neither")
		}
		for _, key := range []string{"client_id", "ca_file"} {
			if t.has(key) {
				t.fault(key, key+" is for another broker, and this one is embedded", "remove it, or give the other broker's url")
			}
		}
		if ok && !broker.Loopback(listen) && (!t.has("username") || !t.has("password_file")) {
			t.fault("listen", fmt.Sprintf("the broker would be open to everyone who reaches %s", listen), "add username and password_file, or listen on "+brokerListen)
		}
		t.finish()
		return
	}
	u, err := url.Parse(b.URL)
	schemes := []string{"tcp", "ssl", "ws", "wss"}
	switch {
	case err != nil || u.Host == "" || u.Hostname() == "":
		t.fault("url", fmt.Sprintf("%q is no broker's address", b.URL), `write "embedded", tcp://host:1883, ssl://host:8883, ws://host or wss://host`)
	case !slices.Contains(schemes, u.Scheme):
		t.fault("url", fmt.Sprintf("the broker's address begins with %s://", u.Scheme), "use tcp://, ssl://, ws:// or wss://")
	case u.User != nil:
		t.fault("url", "the broker's address holds a user or a password", "use username and password_file")
	case u.Scheme == "tcp" || u.Scheme == "ws":
		for _, key := range []string{"ca_file", "cert_file"} {
			if t.has(key) {
				t.fault(key, fmt.Sprintf("%s is for an encrypted connection, and the broker's address begins with %s://", key, u.Scheme), "write ssl:// or wss://, or remove it")
			}
		}
	}
	if t.has("reader") {
		t.fault("reader", "reader is for the embedded broker, and url names another", "remove it: that broker says who may read")
	}
	if t.has("listen") {
		t.fault("listen", "listen is for the embedded broker, and url names another", `remove it, or write url = "embedded"`)
	}
	t.finish()
}

func (l *loader) readPage(t *table, _ bool) {
	l.Page.Listen, _ = listenAddress(t, DefaultPage)
	l.Page.Code = l.secret(t, "code_file")
	l.checkCode(t)
	l.Page.CertFile, l.Page.KeyFile = l.certificate(t)
	if l.Page.Listen != "" && !broker.Loopback(l.Page.Listen) && !t.has("code_file") {
		t.fault("listen", fmt.Sprintf("everyone who reaches %s could write into the trial", l.Page.Listen), "add code_file, or listen on "+DefaultPage)
	}
	// Port 0 is any free one, and never the same twice.
	if l.Broker.Embedded && l.Page.Listen != "" && l.Page.Listen == l.Broker.Listen && !strings.HasSuffix(l.Page.Listen, ":0") {
		t.fault("listen", fmt.Sprintf("the broker listens on %s already", l.Page.Listen), "give the page another port, such as "+DefaultPage)
	}
	t.finish()
}

func (l *loader) readBackup(t *table, present bool) {
	b := &Backup{Keep: backupsKept}
	if folder, ok := t.text("folder", "/media/stick/backups"); ok {
		b.Folder = l.Path(folder)
	}
	if at, ok := t.clock("at", "03:30"); ok {
		b.At = at
	}
	if keep, ok := t.whole("keep", "14", 1, 10000); ok {
		b.Keep = keep
	}
	if present {
		t.need("folder", "at")
		l.Backup = b
	}
	t.finish()
	if b.Folder == "" {
		return
	}
	if info, err := os.Stat(b.Folder); err != nil || !info.IsDir() {
		t.warn("folder", fmt.Sprintf("the folder %s is not there", b.Folder), "plug in the medium, make the folder, or correct its name")
	}
}

func (l *loader) readCost(t *table, present bool) {
	var c Cost
	c.Currency, _ = t.text("currency", "EUR")
	c.PerKWh, _ = t.number("per_kwh", "0.22", 0, 1e6)
	if present {
		t.need("currency", "per_kwh")
		l.Cost = &c
	}
	t.finish()
}

func (l *loader) readLoads(tables []*table) {
	bins := binNames(l.Rack.Bins)
	for _, t := range tables {
		var load Appliance
		load.Name, _ = t.text("name", "pump")
		load.Watts, _ = t.number("watts", "12", 0, 1e6)
		load.HoursPerDay, _ = t.number("hours_per_day", "1.5", 0, 24)
		load.Bins, _ = t.texts("bins", `["upper", "lower"]`)
		for _, bin := range load.Bins {
			l.checkKnown(t, "bins", "bin", bin, bins)
		}
		t.need("name", "watts", "hours_per_day", "bins")
		t.finish()
		l.Loads = append(l.Loads, load)
	}
	l.checkUnique("load", tables, func(i int) string { return l.Loads[i].Name })
}

// listenAddress reads a host and port to listen on. ok is false if it is wrong.
func listenAddress(t *table, usual string) (address string, ok bool) {
	address, given := t.text("listen", usual)
	if !given {
		return usual, !t.has("listen")
	}
	host, port, err := net.SplitHostPort(address)
	if n, bad := strconv.Atoi(port); err != nil || bad != nil || n < 0 || n > 65535 {
		t.fault("listen", fmt.Sprintf("%q is no address to listen on", address), fmt.Sprintf("write it like %s, or 0.0.0.0:%s for the whole network", usual, usual[len(usual)-4:]))
		return "", false
	}
	if host != "" && host != "localhost" && net.ParseIP(host) == nil {
		t.fault("listen", fmt.Sprintf("%q is no number of a network card", host), "write 127.0.0.1 for this machine alone, or 0.0.0.0 for the whole network")
		return "", false
	}
	return address, true
}

// certificate reads cert_file and key_file.
func (l *loader) certificate(t *table) (cert, key string) {
	cert, key = l.file(t, "cert_file"), l.file(t, "key_file")
	if t.has("cert_file") != t.has("key_file") {
		here := "cert_file"
		if t.has("key_file") {
			here = "key_file"
		}
		t.fault(here, "cert_file and key_file go together", "give both, or neither")
	}
	if readable(key) {
		l.warnShown(t, "key_file", key)
	}
	if readable(cert) && readable(key) {
		if _, err := tls.LoadX509KeyPair(cert, key); err != nil {
			t.fault("cert_file", "cert_file and key_file can't be used: "+strings.TrimPrefix(err.Error(), "tls: "), "give a certificate and its own key, both PEM")
		}
	}
	return cert, key
}

// authorities reads ca_file.
func (l *loader) authorities(t *table) string {
	path := l.file(t, "ca_file")
	if !readable(path) {
		return path
	}
	if text, err := readFile(path); err == nil && !x509.NewCertPool().AppendCertsFromPEM(text) {
		t.fault("ca_file", "ca_file holds no certificate", "give the authority's certificate as PEM")
	}
	return path
}

// readable tells whether file found nothing wrong with a path.
func readable(path string) bool {
	f, err := openFile(path)
	if err == nil {
		_ = f.Close() // only read
	}
	return err == nil
}

// file reads the name of a file that must be there.
func (l *loader) file(t *table, key string) string {
	name, ok := t.text(key, key)
	if !ok {
		return ""
	}
	path := l.Path(name)
	f, err := openFile(path)
	if err != nil {
		l.faultToRun(t.at(key), fmt.Sprintf("%s: %s can't be read: %s", key, path, cause(err)), "make the file, or correct its name")
		l.list[len(l.list)-1].Wants = name
		return path
	}
	_ = f.Close() // only read
	return path
}

// openFile opens a regular file. Anything else might never end, or never open.
func openFile(path string) (*os.File, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "open", Path: path, Err: errors.New("it is not a file")}
	}
	return os.Open(path)
}

// secret reads the name of a file that holds a password or a code.
func (l *loader) secret(t *table, key string) Secret {
	s := Secret(l.file(t, key))
	if s == "" {
		return ""
	}
	if !readable(string(s)) {
		return s
	}
	if _, err := s.Read(); errors.Is(err, errNoSecret) {
		t.fault(key, fmt.Sprintf("%s: %s is empty", key, s), "write the secret into the file, on one line")
	}
	l.warnShown(t, key, string(s))
	return s
}

// shortestCode is how many letters and digits an entry code has at least: fewer can
// be guessed within a season.
const shortestCode = 6

// checkCode refuses an entry code that can be guessed.
func (l *loader) checkCode(t *table) {
	if l.Page.Code == "" || !readable(string(l.Page.Code)) {
		return
	}
	code, err := l.Page.Code.Read()
	if err != nil {
		return // told already
	}
	n := 0
	for _, r := range code {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			n++
		}
	}
	if n < shortestCode {
		t.fault("code_file", fmt.Sprintf("code_file: the code has %d letters and digits, which can be guessed", n), fmt.Sprintf("write a code of %d or more", shortestCode))
	} else if why := tooPlain(code, l.Name); why != "" {
		t.warn("code_file", "code_file: the code is "+why, "write another; three words that nobody would put together will do")
	}
}

// warnShown tells of a secret that every user of the machine can read. Windows
// shows no such thing in a file's mode.
func (l *loader) warnShown(t *table, key, path string) {
	info, err := os.Stat(path)
	if err == nil && runtime.GOOS != "windows" && info.Mode().Perm()&0o004 != 0 {
		l.warn(t.at(key), fmt.Sprintf("%s: every user of this machine can read %s", key, path), "chmod o-rwx "+path)
	}
}
