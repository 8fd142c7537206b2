package broker

import (
	"errors"
	"sync"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
)

// errOwnWill refuses a will on a topic that its client may not write.
var errOwnWill = errors.New("its will lies on a topic that it may not write")

// mends are what to do where a connection was refused for a reason that its owner can
// mend. Both are how a bridge of another broker begins.
var mends = []struct {
	cause error
	mend  string
}{
	{packets.ErrProtocolViolationProtocolVersion, "it asked for a version of MQTT that the standard doesn't have, as a broker's bridge does of its own kind: set `try_private false` in the bridge's configuration"},
	{errOwnWill, "a broker's bridge tells under $SYS whether it is there: set `notifications false` in the bridge's configuration"},
}

// sayAgain is how long a reason is not told again: who is refused tries again at once.
const sayAgain = 5 * time.Minute

// refusedOnes tells now and then of connections that were refused.
type refusedOnes struct {
	mu   sync.Mutex
	last [2]time.Time // when each of mends was told last
}

// mend is what to do about a refusal, if it is one of mends and is to be told now.
func (r *refusedOnes) mend(err error) (mend string, ok bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for i, m := range mends {
		if !errors.Is(err, m.cause) {
			continue
		}
		if now := time.Now(); r.last[i].IsZero() || now.Sub(r.last[i]) > sayAgain {
			r.last[i] = now
			return m.mend, true
		}
	}
	return "", false
}
