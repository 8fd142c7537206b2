package tell

import (
	"encoding/json"
	"errors"
	"io/fs"
	"maps"
	"os"
	"slices"
	"time"

	"parstead/cmd/parstead/atomicfile"
	"parstead/light/watch"
)

// remembered reads what was told before. A file that can't be read costs a
// message told twice, so it is only logged.
func remembered(c Config) map[watch.Cause]sent {
	known := map[watch.Cause]sent{}
	if c.File == "" {
		return known
	}
	text, err := os.ReadFile(c.File)
	if errors.Is(err, fs.ErrNotExist) {
		return known
	}
	var list []sent
	if err == nil {
		err = json.Unmarshal(text, &list)
	}
	if err != nil {
		c.Log.Warn("what was told before is not known", "file", c.File, "error", err)
	}
	for _, s := range list {
		known[s.Message.Cause()] = s
	}
	return known
}

// remember writes what was told, without what is long over. The caller holds t.mu.
func (t *Teller) remember(now time.Time) {
	maps.DeleteFunc(t.sent, func(c watch.Cause, s sent) bool {
		m, held := t.current[c]
		if s.Message.Until == nil || now.Sub(s.At) <= quiet || held && m.Until == nil {
			return false
		}
		delete(t.current, c)
		return true
	})
	if t.config.File == "" {
		return
	}
	list := slices.SortedFunc(maps.Values(t.sent), func(a, b sent) int { return a.Message.Compare(b.Message.Condition) })
	text, err := json.MarshalIndent(list, "", " ")
	if err == nil {
		err = atomicfile.Replace(t.config.File, append(text, '\n'), nil, nil)
	}
	if err != nil {
		t.config.Log.Warn("what was told is not kept: a restart may repeat it", "file", t.config.File, "error", err)
	}
}
