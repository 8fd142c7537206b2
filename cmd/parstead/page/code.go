package page

import (
	"crypto/hmac"
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"net"
	"net/netip"
	"strings"
	"sync"
	"time"
)

// lock is the entry code and what a phone that gave it carries from then on.
type lock struct {
	sum [sha256.Size]byte // of the code
	key []byte
}

// stretching is how often the key is hashed: somebody who reads a phone's cookie
// must not find the code by trying. Some 10 ms, and once a start.
const stretching = 20_000

// newLock is the lock of a code; nil for none.
func newLock(code string) (*lock, error) {
	if code == "" {
		return nil, nil
	}
	key, err := pbkdf2.Key(sha256.New, code, []byte("parstead entry"), stretching, sha256.Size)
	if err != nil {
		return nil, fmt.Errorf("make a key of the entry code: %w", err)
	}
	return &lock{sha256.Sum256([]byte(code)), key}, nil
}

// opens tells whether a code is the right one, in a time that does not tell how
// much of it is.
func (l *lock) opens(code string) bool {
	sum := sha256.Sum256([]byte(code))
	return subtle.ConstantTimeCompare(sum[:], l.sum[:]) == 1
}

// token is what a phone carries once it has given the code: who uses it, signed.
// It lasts until the code is changed.
func (l *lock) token(who string) string {
	text := rand.Text() + "." + base64.RawURLEncoding.EncodeToString([]byte(who))
	return text + "." + base64.RawURLEncoding.EncodeToString(l.sign(text))
}

// holder is who carries a token; ok is false if it was not made with this code.
func (l *lock) holder(token string) (who string, ok bool) {
	i := strings.LastIndexByte(token, '.')
	if i < 0 {
		return "", false
	}
	text, signature := token[:i], token[i+1:]
	given, err := base64.RawURLEncoding.DecodeString(signature)
	if err != nil || !hmac.Equal(given, l.sign(text)) {
		return "", false
	}
	_, encoded, _ := strings.Cut(text, ".")
	name, err := base64.RawURLEncoding.DecodeString(encoded)
	return string(name), err == nil
}

func (l *lock) sign(text string) []byte {
	mac := hmac.New(sha256.New, l.key)
	mac.Write([]byte(text))
	return mac.Sum(nil)
}

// bucket lets so many through at once, then one each interval.
type bucket struct {
	owed time.Duration // what was let through, in intervals that have not passed yet
	at   time.Time
}

// take lets n through; if they are too many now, wait is how long until not.
func (b *bucket) take(n, most int, each time.Duration, now time.Time) (wait time.Duration) {
	b.owed = max(0, b.owed-max(0, now.Sub(b.at)))
	b.at = now
	due := b.owed + time.Duration(n)*each
	if wait := due - time.Duration(most)*each; wait > 0 {
		return wait
	}
	b.owed = due
	return 0
}

// tries bounds how fast the code can be guessed, from one address and in all.
// Six letters or digits then take longer than a trial, whoever guesses.
//
// Who guesses must not keep the owner out: the first tries of an address are counted
// apart from those of addresses that have tried more, an address that has given the
// right code waits for no other one, and neither does this machine itself.
type tries struct {
	mu    sync.Mutex
	first bucket // of addresses that have not tried much yet
	more  bucket // of those that have
	by    map[netip.Prefix]*guesser
}

// guesser is one address.
type guesser struct {
	bucket
	made  int  // tries, since it is remembered
	known bool // it has given the right code
}

const (
	triesEach   = 3 * time.Minute
	triesOfOne  = 5
	triesInAll  = 20 // half of them first ones
	firstTries  = 3
	triesListed = 4096 // addresses that are remembered
	triesLast   = 24 * time.Hour
)

// take counts a try; if none is due, wait is how long until one is.
func (t *tries) take(address string, now time.Time) (wait time.Duration) {
	t.mu.Lock()
	defer t.mu.Unlock()
	g := t.guesser(network(address), now)
	if wait := g.take(1, triesOfOne, triesEach, now); wait > 0 {
		return wait
	}
	g.made++
	switch {
	case g.known, ownMachine(address):
		return 0
	case g.made <= firstTries:
		return t.first.take(1, triesInAll/2, 2*triesEach, now)
	default:
		return t.more.take(1, triesInAll/2, 2*triesEach, now)
	}
}

// guesser is what is remembered of an address.
func (t *tries) guesser(from netip.Prefix, now time.Time) *guesser {
	if g := t.by[from]; g != nil {
		return g
	}
	for known, g := range t.by {
		if len(t.by) >= triesListed || now.Sub(g.at) > triesLast {
			delete(t.by, known)
		}
	}
	if t.by == nil {
		t.by = map[netip.Prefix]*guesser{}
	}
	g := &guesser{}
	t.by[from] = g
	return g
}

// right takes back a try that gave the right code.
func (t *tries) right(address string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	g := t.by[network(address)]
	if g == nil {
		return
	}
	switch {
	case g.known, ownMachine(address):
	case g.made <= firstTries:
		t.first.owed -= 2 * triesEach
	default:
		t.more.owed -= 2 * triesEach
	}
	g.owed -= triesEach
	g.known = true
}

// ownMachine tells whether somebody asks from this machine.
func ownMachine(address string) bool {
	at, err := netip.ParseAddrPort(address)
	return err == nil && at.Addr().Unmap().IsLoopback()
}

// network is what one guesser may have: an IPv4 address, or the half of an IPv6
// address that names a network.
func network(address string) netip.Prefix {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		host = address
	}
	ip, err := netip.ParseAddr(host)
	if err != nil {
		return netip.Prefix{}
	}
	ip = ip.Unmap().WithZone("")
	bits := 32
	if ip.Is6() {
		bits = 64
	}
	return netip.PrefixFrom(ip, bits).Masked()
}
