package trial

import (
	"fmt"

	"parstead/ingest"
	"parstead/ingest/broker"
)

// Broker says where readings are published.
type Broker struct {
	Embedded                  bool   // the daemon is the broker
	URL                       string // of another broker; "" where embedded
	Listen                    string // host:port; "" unless embedded
	ClientID                  string // "" to take one from the trial's name
	Username                  string
	Password                  Secret
	Reader                    string // who may read the conditions at the embedded broker; "" for nobody
	ReaderPassword            Secret
	CAFile, CertFile, KeyFile string // paths; "" where not given
}

// Logins are who may publish at the embedded broker and who may read there, each
// with its password; nil where none is set.
func (b *Broker) Logins() (sensors, readers *broker.Login, err error) {
	if sensors, err = login(b.Username, b.Password); err == nil {
		readers, err = login(b.Reader, b.ReaderPassword)
	}
	return sensors, readers, err
}

func login(name string, secret Secret) (*broker.Login, error) {
	if name == "" {
		return nil, nil
	}
	password, err := secret.Read()
	if err != nil {
		return nil, fmt.Errorf("[broker] password of %s: %w", name, err)
	}
	return &broker.Login{Username: name, Password: password}, nil
}

// Remote is the trial's other broker as a session needs it.
func (t *Trial) Remote() ingest.Remote {
	b := t.Broker
	id := b.ClientID
	if id == "" {
		id = "parstead-" + t.Name
	}
	return ingest.Remote{
		URL: b.URL, ClientID: id, Username: b.Username, PasswordFile: string(b.Password),
		CAFile: b.CAFile, CertFile: b.CertFile, KeyFile: b.KeyFile,
	}
}
