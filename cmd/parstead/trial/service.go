package trial

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"parstead/light"
)

// Page says where the status page is served.
type Page struct {
	Listen            string // host:port
	Code              Secret // what a phone must give before it may write
	CertFile, KeyFile string // paths; "" where not given
}

// Backup says when to copy the trial and where to.
type Backup struct {
	Folder string // path
	At     light.TimeOfDay
	Keep   int // newest copies kept
}

// Cost is the price of electricity.
type Cost struct {
	Currency string
	PerKWh   float64
}

// Appliance is what else draws current for the trial.
type Appliance struct {
	Name        string
	Watts       float64
	HoursPerDay float64
	Bins        []string // whose plants it serves
}

// Secret is the path of a file that holds a password or a code; "" for none.
type Secret string

// Read gives the file's first line.
func (s Secret) Read() (string, error) {
	data, err := os.ReadFile(string(s))
	if err != nil {
		return "", fmt.Errorf("read the secret: %w", err)
	}
	line, _, _ := bytes.Cut(bytes.TrimPrefix(data, []byte("\ufeff")), []byte("\n"))
	secret := strings.TrimSuffix(string(line), "\r")
	if strings.TrimSpace(secret) == "" {
		return "", fmt.Errorf("read %s: %w: write the password or the code into it", s, errNoSecret)
	}
	return secret, nil
}

var errNoSecret = errors.New("the file is empty")

func inDir(dir, name string) string {
	if name == "" || filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(dir, name)
}
