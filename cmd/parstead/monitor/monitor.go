// Package monitor holds what a metrics server needs to watch racks: alert rules,
// recording rules, a scrape job, the file that lists the racks and a console page, in
// that server's own formats.
package monitor

import (
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"

	"parstead/cmd/parstead/atomicfile"
)

//go:embed files
var files embed.FS

// RacksFile lists the racks for the server's file-based discovery.
const RacksFile = "parstead-racks.json"

// racksWord stands in the scrape job for where that file is.
const racksWord = "RACKS"

// Rack is one daemon whose metrics are asked for.
type Rack struct {
	Name   string // "" where there is one alone
	Listen string // host:port of its page
	Secure bool   // the page speaks TLS
}

// target is one entry of the server's file-based discovery.
type target struct {
	Targets []string          `json:"targets"`
	Labels  map[string]string `json:"labels"`
}

// target is where the server, which runs on the same machine, finds the rack.
func (r Rack) target() (target, error) {
	host, port, err := net.SplitHostPort(r.Listen)
	if err != nil || port == "0" {
		return target{}, fmt.Errorf("the page of %s is at %q, whose port is another at each start: give it one under [page]", r.Name, r.Listen)
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	t := target{Targets: []string{net.JoinHostPort(host, port)}, Labels: map[string]string{}}
	if r.Name != "" {
		t.Labels["rack"] = r.Name
	}
	if r.Secure {
		t.Labels["__scheme__"] = "https"
	}
	return t, nil
}

// Write writes the files into a folder, which is made where it is not there, and
// returns their names. Rules, job and page that are there and differ are not replaced;
// the list of racks is written anew.
func Write(dir string, racks []Rack) (names []string, err error) {
	list := []target{}
	for _, r := range racks {
		t, err := r.target()
		if err != nil {
			return nil, err
		}
		list = append(list, t)
	}
	text, err := json.MarshalIndent(list, "", "  ")
	if err != nil {
		return nil, err
	}
	if dir, err = filepath.Abs(dir); err != nil {
		return nil, fmt.Errorf("find the folder: %w", err)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("make the folder: %w", err)
	}
	if names, err = writeShipped(dir); err != nil {
		return names, err
	}
	name := filepath.Join(dir, RacksFile)
	like, err := os.Stat(names[0]) // the server, another user, has to read it too
	if err != nil {
		return names, err
	}
	if err := atomicfile.Replace(name, append(text, '\n'), like, nil); err != nil {
		return names, err
	}
	return append(names, name), nil
}

// writeShipped writes what is the same for all racks.
func writeShipped(dir string) (names []string, err error) {
	entries, err := files.ReadDir("files")
	if err != nil {
		return nil, err
	}
	racks, err := json.Marshal(filepath.Join(dir, RacksFile)) // a JSON text is one of YAML too
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		read, err := files.ReadFile("files/" + e.Name())
		if err != nil {
			return names, err
		}
		text := strings.ReplaceAll(string(read), racksWord, string(racks))
		name := filepath.Join(dir, e.Name())
		switch there, err := os.ReadFile(name); {
		case err == nil && string(there) == text:
		case err == nil:
			return names, fmt.Errorf("%s is there and was changed: move it away, or name another folder", name)
		case !errors.Is(err, fs.ErrNotExist):
			return names, err
		default:
			if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
				return names, err
			}
		}
		names = append(names, name)
	}
	return names, nil
}
