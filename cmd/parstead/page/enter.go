package page

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"
)

const (
	largestBody = 64 << 10 // bytes of a request that writes
	mostEntries = 50       // in a request

	// The pace of entries, whoever makes them: as many at once, then one each.
	entriesAtOnce = 400
	entriesEach   = 500 * time.Millisecond

	longestName = 40               // bytes, of who enters
	cookieLasts = 200 * 24 * 3600  // seconds
	cookieName  = "parstead_entry" // what a phone carries
	formType    = "application/x-www-form-urlencoded"
	jsonType    = "application/json"
)

// entering is the part of the server that takes entries in.
type entering struct {
	tries tries

	mu   sync.Mutex
	lock *lock // nil without a code: then nothing is taken in
	pace bucket
	seen bucket // of photos

	camera chan struct{} // full while a photo is taken in
}

// SetCode sets the code that a phone must give before it may write; with ""
// nothing can be written. Phones that gave another code must give this one.
func (s *Server) SetCode(code string) error {
	e := &s.entering
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.lock != nil && e.lock.opens(code) {
		return nil
	}
	l, err := newLock(code)
	if err == nil {
		e.lock = l
	}
	return err
}

func (e *entering) current() *lock {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.lock
}

// slow is how long a phone has to wait before it may send n entries.
func (e *entering) slow(n int, now time.Time) time.Duration {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.pace.take(n, entriesAtOnce, entriesEach, now)
}

func (s *Server) enterRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET /enter", s.showScreen)
	mux.HandleFunc("GET /enter/{screen}", s.showScreen)
	mux.HandleFunc("GET /enter/offer.json", s.giveOffer)
	mux.HandleFunc("GET /enter.js", s.giveFile("enter.js", "text/javascript; charset=utf-8"))
	worker := s.giveFile("worker.js", "text/javascript; charset=utf-8")
	mux.HandleFunc("GET /worker.js", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", enterPolicy) // the worker's own
		worker(w, r)
	})
	mux.HandleFunc("POST /enter/code", s.takeCode)
	mux.HandleFunc("POST /enter", s.takeForm)
	mux.HandleFunc("POST /enter/entries", s.takeEntries)
	mux.HandleFunc("POST /enter/photo", s.takePhoto)
}

// enterPolicy lets the screens of entry run the page's own script, and nothing else.
const enterPolicy = "default-src 'none'; script-src 'self'; worker-src 'self'; connect-src 'self'; " + ownPolicy

// who is the holder of the phone; status is not 0 if the phone may not write.
func (s *Server) who(r *http.Request) (who string, status int, says string) {
	l := s.entering.current()
	if l == nil {
		return "", http.StatusForbidden, noCode
	}
	if c, err := r.Cookie(cookieName); err == nil {
		if who, ok := l.holder(c.Value); ok {
			return who, 0, ""
		}
	}
	return "", http.StatusForbidden, needsCode
}

const (
	noCode    = "Nothing can be entered here yet: no entry code is set. Put a code into a file beside trial.toml and name the file there, under [page]: code_file = \"entry-code\". The daemon takes it up within a minute."
	needsCode = "This phone has not given the entry code yet, or the code has changed."
)

// body reads a request that writes. What is refused was answered.
func body(w http.ResponseWriter, r *http.Request, kind string) (text []byte, ok bool) {
	got, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || got != kind {
		say(w, http.StatusUnsupportedMediaType, "Send "+kind+".")
		return nil, false
	}
	text, err = io.ReadAll(http.MaxBytesReader(w, r.Body, largestBody))
	if _, large := errors.AsType[*http.MaxBytesError](err); large {
		say(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("Send less than %d KiB at once.", largestBody>>10))
		return nil, false
	}
	if err != nil {
		say(w, http.StatusBadRequest, "The request ended too soon.")
		return nil, false
	}
	return text, true
}

// form reads a form. What is refused was answered.
func form(w http.ResponseWriter, r *http.Request) (v url.Values, ok bool) {
	text, ok := body(w, r, formType)
	if !ok {
		return nil, false
	}
	v, err := url.ParseQuery(string(text))
	if err != nil {
		say(w, http.StatusBadRequest, "The form can't be read.")
		return nil, false
	}
	return v, true
}

// tooFast answers a request that comes too soon.
func tooFast(w http.ResponseWriter, wait time.Duration) string {
	seconds := int(math.Ceil(wait.Seconds()))
	w.Header().Set("Retry-After", strconv.Itoa(seconds))
	return fmt.Sprintf("Too many at once: try again in %s.", length(wait.Truncate(time.Second)+time.Second))
}

// takeCode lets a phone in that gives the code.
func (s *Server) takeCode(w http.ResponseWriter, r *http.Request) {
	v, ok := form(w, r)
	if !ok {
		return
	}
	l := s.entering.current()
	if l == nil {
		s.answerScreen(w, r, http.StatusForbidden, &screen{Name: "off", Says: noCode})
		return
	}
	ask := &screen{Name: "code", Then: localPath(v.Get("then")), Who: strings.TrimSpace(v.Get("who")), Wrong: true}
	if wait := s.entering.tries.take(r.RemoteAddr, s.config.Now()); wait > 0 {
		ask.Says = "Too many wrong codes. " + tooFast(w, wait)
		s.answerScreen(w, r, http.StatusTooManyRequests, ask)
		return
	}
	if !l.opens(strings.TrimSpace(v.Get("code"))) {
		s.config.Log.Warn("wrong entry code", "from", r.RemoteAddr)
		ask.Says = "This is not the code. Capitals and small letters count."
		s.answerScreen(w, r, http.StatusForbidden, ask)
		return
	}
	s.entering.tries.right(r.RemoteAddr)
	who, err := readName(ask.Who)
	if err != nil {
		ask.Says = err.Error()
		s.answerScreen(w, r, http.StatusUnprocessableEntity, ask)
		return
	}
	http.SetCookie(w, &http.Cookie{
		Name: cookieName, Value: l.token(who), Path: "/enter", MaxAge: cookieLasts,
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil,
	})
	http.Redirect(w, r, ask.Then, http.StatusSeeOther)
}

// readName reads the name of who enters.
func readName(text string) (string, error) {
	e, err := readEntry(func(part string) string {
		return map[string]string{"id": "0000000000000000", "what": Note, "text": text}[part]
	})
	if err != nil || len(e.Text) > longestName {
		return "", fmt.Errorf("the name can have %d bytes of text", longestName)
	}
	return e.Text, nil
}

// localPath is a path of the screens of entry, whatever was asked for.
func localPath(then string) string {
	u, err := url.Parse(then)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || u.Path != "/enter" && !strings.HasPrefix(u.Path, "/enter/") || strings.Contains(u.Path, "..") {
		return "/enter"
	}
	return (&url.URL{Path: u.Path, RawQuery: u.Query().Encode()}).String()
}

// takeForm takes one entry out of a form of a browser without script.
func (s *Server) takeForm(w http.ResponseWriter, r *http.Request) {
	v, ok := form(w, r)
	if !ok {
		return
	}
	who, status, says := s.who(r)
	e, err := readEntry(v.Get)
	switch {
	case says == noCode:
		s.answerScreen(w, r, status, &screen{Name: "off", Says: noCode, Wrong: true})
		return
	case status != 0:
		ask := &screen{Name: "code", Says: "Not stored yet. " + says, Wrong: true, Then: "/enter"}
		if err == nil {
			ask.Then = e.screen()
		}
		s.answerScreen(w, r, status, ask)
		return
	case err != nil:
		say(w, http.StatusBadRequest, "Not stored: "+err.Error()+".")
		return
	}
	if wait := s.entering.slow(1, s.config.Now()); wait > 0 {
		s.enterAgain(w, r, http.StatusTooManyRequests, &e, "Not stored yet. "+tooFast(w, wait))
		return
	}
	a := s.config.Entries.Take(r.Context(), who, []Entry{e})[0]
	switch a.State {
	case Stored:
		http.Redirect(w, r, e.next(v.Get("next"), a.ID), http.StatusSeeOther)
	case Wrong:
		s.enterAgain(w, r, http.StatusUnprocessableEntity, &e, "Not stored: "+a.Says)
	default:
		s.enterAgain(w, r, http.StatusServiceUnavailable, &e, "Not stored yet: "+a.Says)
	}
}

// enterAgain shows the entry's screen once more, with what was typed.
func (s *Server) enterAgain(w http.ResponseWriter, r *http.Request, status int, e *Entry, says string) {
	u, err := url.Parse(e.screen())
	if err != nil {
		say(w, http.StatusInternalServerError, says)
		return
	}
	v := s.newScreen(r, strings.TrimPrefix(strings.TrimPrefix(u.Path, "/enter"), "/"), u.Query())
	v.Says, v.Wrong = says, true
	if status != http.StatusUnprocessableEntity {
		v.ID = e.ID // it may be stored all the same
	}
	s.answerScreen(w, r, status, v)
}

// requestEntries are entries that a phone has kept. Each is what a form would
// have sent.
type requestEntries struct {
	Entries []map[string]string `json:"entries"`
}

// takeEntries takes what a phone has kept.
func (s *Server) takeEntries(w http.ResponseWriter, r *http.Request) {
	text, ok := body(w, r, jsonType)
	if !ok {
		return
	}
	who, status, says := s.who(r)
	if status != 0 {
		s.answerJSON(w, status, map[string]any{"says": says, "code": says == needsCode})
		return
	}
	var request requestEntries
	if err := json.Unmarshal(text, &request); err != nil || len(request.Entries) == 0 || len(request.Entries) > mostEntries {
		s.answerJSON(w, http.StatusBadRequest, map[string]any{"says": fmt.Sprintf("Send an object with 1 to %d entries.", mostEntries)})
		return
	}
	if wait := s.entering.slow(len(request.Entries), s.config.Now()); wait > 0 {
		says := tooFast(w, wait)
		s.answerJSON(w, http.StatusTooManyRequests, map[string]any{"says": says})
		return
	}
	answers := make([]Answer, len(request.Entries))
	var entries []Entry
	var of []int // their place among the answers
	for i, parts := range request.Entries {
		e, err := readEntry(func(part string) string { return parts[part] })
		if err != nil {
			answers[i] = Answer{ID: clip(parts["id"]), State: Wrong, Says: err.Error()}
			continue
		}
		entries, of = append(entries, e), append(of, i)
	}
	if len(entries) > 0 {
		for i, a := range s.config.Entries.Take(r.Context(), who, entries) {
			answers[of[i]] = a
		}
	}
	s.answerJSON(w, http.StatusOK, map[string]any{"answers": answers})
}

// giveOffer gives a phone what it needs to know to take entries without signal.
func (s *Server) giveOffer(w http.ResponseWriter, r *http.Request) {
	who, status, says := s.who(r)
	if status != 0 {
		s.answerJSON(w, status, map[string]any{"says": says, "code": says == needsCode})
		return
	}
	o, err := s.config.Entries.Offer(r.Context())
	if err != nil {
		s.answerJSON(w, http.StatusServiceUnavailable, map[string]any{"says": err.Error()})
		return
	}
	s.answerJSON(w, http.StatusOK, map[string]any{"who": who, "offer": o})
}

func (s *Server) answerJSON(w http.ResponseWriter, status int, value any) {
	text, err := json.Marshal(value)
	if err != nil {
		s.config.Log.Error("answer not written", "error", err)
		status, text = http.StatusInternalServerError, []byte("{}")
	}
	w.Header().Set("Content-Type", jsonType)
	w.WriteHeader(status)
	_, _ = w.Write(text) // the reader has gone: nobody to tell
}

// newID is the id of an entry that is about to be made in a form.
func newID() string { return rand.Text() }
