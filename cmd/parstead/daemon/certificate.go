package daemon

import (
	"crypto/tls"
	"fmt"
	"log/slog"
	"os"
	"sync"
)

// certificate is a certificate and its key on disk. It is read again when the
// file has changed: one that is renewed every few weeks is taken into use
// without a restart.
type certificate struct {
	certFile, keyFile string
	log               *slog.Logger

	mu     sync.Mutex
	loaded *tls.Certificate
	stamp  stamp
}

// serverTLS is how a server speaks TLS with the certificate; nil where there is
// none.
func serverTLS(certFile, keyFile string, log *slog.Logger) (*tls.Config, error) {
	if certFile == "" {
		return nil, nil
	}
	c := &certificate{certFile: certFile, keyFile: keyFile, log: log}
	if _, err := c.get(nil); err != nil {
		return nil, err
	}
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get}, nil
}

// get is the certificate as it now lies on disk; while that can't be used, the
// one before.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	var now stamp
	info, err := os.Stat(c.certFile)
	if err == nil {
		now = stamp{info.Size(), info.ModTime()}
	}
	if c.loaded != nil && now == c.stamp {
		return c.loaded, nil
	}
	c.stamp = now
	pair, err := tls.LoadX509KeyPair(c.certFile, c.keyFile)
	switch {
	case err == nil:
		c.loaded = &pair
	case c.loaded == nil:
		return nil, fmt.Errorf("read the certificate %s: %w", c.certFile, err)
	default:
		c.log.Warn("changed certificate can't be used; the one before stays", "file", c.certFile, "error", err)
	}
	return c.loaded, nil
}
