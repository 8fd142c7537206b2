//go:build slow

package store

import "testing"

func TestManyKills(t *testing.T) {
	t.Parallel()
	killMany(t, 200, 2)
}
