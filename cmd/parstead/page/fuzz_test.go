package page

import (
	"net/http"
	"strings"
	"testing"
	"unicode/utf8"
)

// Whatever is sent, from a phone with the code and without: no answer is a fault
// of the server, nothing is taken in without the code, and what is taken in is text.
func FuzzForm(f *testing.F) {
	f.Add("POST", "/enter", formType, countForm(anID, "12"), true)
	f.Add("POST", "/enter/entries", jsonType, entriesOf(map[string]string{"id": anID, "what": "note", "text": "x", "age": "7"}), true)
	f.Add("POST", "/enter/code", formType, "code="+rightCode+"&who=me&then=/enter/note", false)
	f.Add("GET", "/enter/value?plant=P01&what=harvest&outcome=mass_g&stored="+anID, "", "", true)
	f.Add("GET", "/enter/move?plant=P01&bin=upper&row=1&column=2", "", "", true)
	f.Add("POST", "/enter", formType, "id="+anID+"&what=move&plant=%ff%00&row=%", true)
	f.Add("POST", "/enter/code", formType, "code="+rightCode+"&who=m\x92", false)
	f.Add("GET", "/enter/plant?plant=P\xfb", "", "", true)
	f.Fuzz(func(t *testing.T, method, path, kind, body string, holds bool) {
		if method != "GET" && method != "POST" || !strings.HasPrefix(path, "/") {
			t.Skip("no request")
		}
		d := newDoor(t, "")
		d.server.entering.lock = fuzzLock // to stretch it each time would take most of the time
		cookie := "X: y"
		if holds {
			cookie = "Cookie: " + cookieName + "=" + fuzzLock.token("me")
		}
		w := d.ask(method, path, body, cookie, "Content-Type: "+kind)
		if w.Code >= 500 && w.Code != http.StatusServiceUnavailable {
			t.Errorf("%d %s", w.Code, w.Body)
		}
		if w.Code/100 != 3 && !utf8.Valid(w.Body.Bytes()) || strings.Contains(w.Body.String(), "ZgotmplZ") {
			t.Errorf("no text: %q", w.Body)
		}
		if to := w.Header().Get("Location"); to != "" && (to[0] != '/' || len(to) > 1 && (to[1] == '/' || to[1] == '\\')) {
			t.Errorf("leads to %q", to)
		}
		for _, e := range d.desk.entries() {
			if !holds || method == "GET" {
				t.Error("something was taken in")
			}
			for name, part := range e.parts() {
				if !utf8.ValidString(*part) || strings.ContainsAny(*part, "\x00\r\n") || len(*part) > longestText {
					t.Errorf("%s is %q", name, *part)
				}
			}
		}
	})
}

var fuzzLock = func() *lock {
	l, err := newLock(rightCode)
	if err != nil {
		panic(err)
	}
	return l
}()
