package racktest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/page"
)

// Phone is a browser that has given the code.
type Phone struct {
	tb   testing.TB
	Base string
	http.Client
}

// NewPhone is one that has given the code of EntryTrial.
func NewPhone(tb testing.TB, base, who string) *Phone {
	tb.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		tb.Fatal(err)
	}
	p := &Phone{tb, strings.TrimSuffix(base, "/"), http.Client{Jar: jar, Timeout: 20 * time.Second}}
	tb.Cleanup(p.CloseIdleConnections)
	answer, err := p.PostForm(p.Base+"/enter/code", url.Values{"code": {"wet-hands-7"}, "who": {who}})
	if err != nil {
		tb.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	if answer.StatusCode != http.StatusOK {
		tb.Fatalf("the code is not taken: %s", answer.Status)
	}
	return p
}

// parts are an entry: "id what name=value name=value".
func parts(text string) map[string]string {
	words := strings.Split(text, " ")
	m := map[string]string{"id": "00000000000000-" + words[0], "what": words[1]}
	for _, w := range words[2:] {
		name, value, _ := strings.Cut(w, "=")
		m[name] = value
	}
	m["text"] = strings.ReplaceAll(m["text"], "_", " ")
	return m
}

// Send sends entries as the phone's script does.
func (p *Phone) Send(entries ...string) []page.Answer {
	p.tb.Helper()
	answers, err := p.Try(entries...)
	if err != nil {
		p.tb.Fatal(err)
	}
	return answers
}

// Try is Send where it may fail.
func (p *Phone) Try(entries ...string) ([]page.Answer, error) {
	request := map[string][]map[string]string{}
	for _, e := range entries {
		request["entries"] = append(request["entries"], parts(e))
	}
	text, err := json.Marshal(request)
	if err != nil {
		return nil, err
	}
	answer, err := p.Post(p.Base+"/enter/entries", "application/json", bytes.NewReader(text))
	if err != nil {
		return nil, err
	}
	defer func() { _ = answer.Body.Close() }()
	var said struct {
		Answers []page.Answer
		Says    string
	}
	if err := json.NewDecoder(answer.Body).Decode(&said); err != nil || answer.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("%s: %s %w", answer.Status, said.Says, err)
	}
	return said.Answers, nil
}

// Stored sends entries that must be stored.
func (p *Phone) Stored(entries ...string) []page.Answer {
	p.tb.Helper()
	answers := p.Send(entries...)
	for i, a := range answers {
		if a.State != page.Stored {
			p.tb.Fatalf("%s: %s, %s", entries[i], a.State, a.Says)
		}
	}
	return answers
}
