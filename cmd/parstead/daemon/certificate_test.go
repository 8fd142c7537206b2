package daemon

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	cryptorand "crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// certify writes a certificate for this machine that signs itself, and its key,
// over what stands there.
func certify(tb testing.TB, certFile, keyFile string) *x509.CertPool {
	tb.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), cryptorand.Reader)
	if err != nil {
		tb.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: "rack"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(cryptorand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		tb.Fatal(err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		tb.Fatal(err)
	}
	cert := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	for path, text := range map[string][]byte{keyFile: pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER}), certFile: cert} {
		if err := os.WriteFile(path, text, 0o600); err != nil {
			tb.Fatal(err)
		}
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(cert)
	return pool
}

// The page and the embedded broker speak TLS where they have a certificate, and
// nothing else; one that was renewed is taken without a restart; a client that
// stalls in the handshake holds nobody up.
func TestTLS(t *testing.T) {
	t.Parallel()
	secrets := t.TempDir()
	cert, key := filepath.Join(secrets, "rack.crt"), filepath.Join(secrets, "rack.key")
	pool := certify(t, cert, key)
	dir := racktest.SmallTrial(t, "")
	config := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(config)
	if err != nil {
		t.Fatal(err)
	}
	secured := strings.ReplaceAll(string(text), `listen = "127.0.0.1:0"`, `listen = "127.0.0.1:0"`+"\ncert_file = \""+cert+"\"\nkey_file = \""+key+"\"")
	if err := os.WriteFile(config, []byte(secured), 0o600); err != nil {
		t.Fatal(err)
	}
	w := watchFolder(t, dir, Options{})
	if !strings.HasPrefix(w.PageURL(), "https://127.0.0.1:") {
		t.Errorf("the page is at %s", w.PageURL())
	}
	status := func(pool *x509.CertPool) (int, error) {
		transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}}
		defer transport.CloseIdleConnections()
		answer, err := (&http.Client{Transport: transport}).Get(w.PageURL() + "alive")
		if err != nil {
			return 0, err
		}
		_ = answer.Body.Close()
		return answer.StatusCode, nil
	}
	if code, err := status(pool); code != http.StatusOK {
		t.Errorf("the page over TLS: %d, %v", code, err)
	}
	if answer, err := http.Get("http" + strings.TrimPrefix(w.PageURL(), "https")); err == nil {
		_ = answer.Body.Close()
		if answer.StatusCode != http.StatusBadRequest {
			t.Errorf("the page in the clear: %d", answer.StatusCode)
		}
	}

	stalls, err := net.Dial("tcp", w.BrokerAddress())
	if err != nil {
		t.Fatal(err)
	}
	defer stalls.Close() //nolint:errcheck // it said nothing
	device := func(scheme string) error {
		o := mqtt.NewClientOptions().AddBroker(scheme + w.BrokerAddress()).SetClientID("upper").SetConnectTimeout(5 * time.Second).
			SetTLSConfig(&tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}).SetAutoReconnect(false)
		c := mqtt.NewClient(o)
		token := c.Connect()
		token.Wait()
		if token.Error() == nil {
			racktest.Send(t, c, "rack/upper", 100)
			c.Disconnect(0)
		}
		return token.Error()
	}
	if err := device("ssl://"); err != nil {
		t.Errorf("the broker over TLS: %v", err)
	}
	if err := device("tcp://"); err == nil {
		t.Error("the broker also speaks in the clear")
	}

	renewed := certify(t, cert, key)
	if code, err := status(renewed); code != http.StatusOK {
		t.Errorf("the renewed certificate: %d, %v", code, err)
	}
	if err := os.WriteFile(cert, []byte("torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, err := status(renewed); code != http.StatusOK {
		t.Errorf("a torn certificate must leave the one before: %d, %v", code, err)
	}
	w.stop()
}
