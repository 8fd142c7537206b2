//go:build slow

package ingest_test

import "testing"

func TestKilledOftenWithTheEmbeddedBroker(t *testing.T) {
	t.Parallel()
	killEmbedded(t, 120)
}

func TestKilledOftenWithAnotherBroker(t *testing.T) {
	t.Parallel()
	killRemote(t, 100)
}
