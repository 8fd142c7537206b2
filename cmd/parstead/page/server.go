package page

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

//go:embed page.html page.css page.js enter.html enter.js worker.js
var files embed.FS

// Config is what the page needs of the daemon.
type Config struct {
	State    func(context.Context) (*State, error)                    // called for each view; must be cheap
	Plant    func(ctx context.Context, code string) (*History, error) // nil where there is no such plant
	Result   func(context.Context) (*Result, error)
	Ready    func() error // nil once the trial's totals are known
	Gatherer prometheus.Gatherer
	Entries  Entries
	Photos   Photos
	Now      func() time.Time // for the pace of requests: the machine's clock
	Log      *slog.Logger
}

// Server answers on one listener.
type Server struct {
	config   Config
	page     *template.Template
	enter    *template.Template
	entering entering
}

// New prepares a server. It does no I/O. Until SetCode nothing can be entered.
func New(c Config) *Server {
	parse := func(name string) *template.Template {
		return template.Must(template.New(name).Funcs(words).ParseFS(files, name))
	}
	s := &Server{config: c, page: parse("page.html"), enter: parse("enter.html")}
	s.entering.camera = make(chan struct{}, 1)
	return s
}

// giveFile answers with a file of the program.
func (s *Server) giveFile(name, kind string) http.HandlerFunc {
	text, err := files.ReadFile(name)
	if err != nil {
		panic("page: " + name + " is not in the program")
	}
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", kind)
		w.Header().Set("Cache-Control", "no-cache") // a new version of the program has its own
		_, _ = w.Write(text)                        // the reader has gone: nobody to tell
	}
}

// Listen binds the address, so that a failure is told before anything starts.
// With secure, it speaks TLS. Connections are bounded in number.
func Listen(address string, secure *tls.Config) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("open the page at %s: %w; set [page] listen in trial.toml to a free address", address, err)
	}
	l = &bounded{Listener: l, by: map[netip.Prefix]int{}}
	if secure != nil {
		l = tls.NewListener(l, secure)
	}
	return l, nil
}

// Serve answers requests until ctx ends, then finishes those under way.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	server := &http.Server{
		Handler:           s.guard(s.routes(), l.Addr()),
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		WriteTimeout:      30 * time.Second,
		IdleTimeout:       time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          slog.NewLogLogger(s.config.Log.Handler(), slog.LevelDebug),
	}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	select {
	case err := <-ended:
		return fmt.Errorf("serve the page: %w", err)
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
	defer cancel()
	err := server.Shutdown(last)
	if errors.Is(err, context.DeadlineExceeded) {
		err = server.Close()
	}
	if closed := <-ended; err == nil && !errors.Is(closed, http.ErrServerClosed) {
		err = closed
	}
	return err
}

func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.showPage)
	mux.HandleFunc("GET /place/{bin}/{row}/{column}", s.showPlace)
	mux.HandleFunc("GET /plant/{code}", s.showPlant)
	mux.HandleFunc("GET /result", s.showResult)
	mux.HandleFunc("GET /photo/{name}", s.givePhoto)
	mux.HandleFunc("GET /page.css", s.giveFile("page.css", "text/css; charset=utf-8"))
	mux.HandleFunc("GET /page.js", s.giveFile("page.js", "text/javascript; charset=utf-8"))
	s.enterRoutes(mux)
	mux.Handle("GET /metrics", promhttp.HandlerFor(s.config.Gatherer, promhttp.HandlerOpts{
		ErrorLog: slog.NewLogLogger(s.config.Log.Handler(), slog.LevelError), MaxRequestsInFlight: 4,
	}))
	mux.HandleFunc("GET /now.json", s.giveNow)
	mux.HandleFunc("GET /alive", func(w http.ResponseWriter, _ *http.Request) { say(w, http.StatusOK, "alive") })
	mux.HandleFunc("GET /ready", func(w http.ResponseWriter, _ *http.Request) {
		if err := s.config.Ready(); err != nil {
			say(w, http.StatusServiceUnavailable, err.Error())
			return
		}
		say(w, http.StatusOK, "ready")
	})
	return http.NewCrossOriginProtection().Handler(mux)
}

func say(w http.ResponseWriter, status int, words string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = fmt.Fprintln(w, words) // the reader has gone: nobody to tell
}

func (s *Server) showPage(w http.ResponseWriter, r *http.Request) {
	state, ok := s.state(w, r)
	if !ok {
		return
	}
	v := newView(state)
	s.answer(w, "page", func(nonce string) any {
		v.Nonce = nonce
		return v
	})
}

// state is what is shown now. A fault was answered.
func (s *Server) state(w http.ResponseWriter, r *http.Request) (*State, bool) {
	state, err := s.config.State(r.Context())
	if err != nil {
		s.config.Log.Error("page not shown", "error", err)
		say(w, http.StatusInternalServerError, "The page can't be shown now: "+err.Error())
		return nil, false
	}
	return state, true
}

// answer gives a page that looks again by itself: the script may run that carries
// a word which is new in each answer, and no other.
func (s *Server) answer(w http.ResponseWriter, name string, of func(nonce string) any) {
	nonce := rand.Text()
	var b strings.Builder
	if err := s.page.ExecuteTemplate(&b, name, of(nonce)); err != nil {
		s.config.Log.Error("page not shown", "page", name, "error", err)
		say(w, http.StatusInternalServerError, "The page can't be shown now; the daemon's log says why.")
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", fmt.Sprintf("default-src 'none'; script-src 'nonce-%s'; connect-src 'self'; %s", nonce, ownPolicy))
	_, _ = w.Write([]byte(b.String())) // the reader has gone: nobody to tell
}

// guard keeps a browser from being turned against the page: the Host header
// must name this listener (another name that resolves here is refused), and
// nothing may be framed, scripted or loaded from elsewhere.
func (s *Server) guard(next http.Handler, address net.Addr) http.Handler {
	_, port, _ := net.SplitHostPort(address.String())
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; "+ownPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store") // but for the program's own files
		// Under TLS the browser itself has made sure of the name.
		if r.TLS == nil && !allowedHost(r.Host, port) {
			say(w, http.StatusMisdirectedRequest, "Ask for this page by the machine's address or as localhost.")
			return
		}
		next.ServeHTTP(w, r)
	})
}

// ownPolicy is what every page may do: look as it should, and send its forms home.
const ownPolicy = "style-src 'self'; img-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// allowedHost accepts localhost and literal addresses: a name that somebody
// else's name server answers for can't be either.
func allowedHost(host, port string) bool {
	name, p, err := net.SplitHostPort(host)
	if err != nil {
		name, p = host, port
	}
	name = strings.Trim(name, "[]")
	return p == port && (name == "localhost" || net.ParseIP(name) != nil)
}
