package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"parstead/cmd/parstead/demo"
)

// winter lies after both seasons.
var winter = time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)

// sharedDir holds what several tests read and none writes into; TestMain removes it.
var sharedDir = sync.OnceValues(func() (string, error) { return os.MkdirTemp("", "parstead-tests-*") })

// seasons are two demo trials of 28 days without readings: their light comes
// from surveys and timers.
var seasons = sync.OnceValues(func() (dirs [2]string, err error) {
	shared, err := sharedDir()
	for i, name := range []string{"spring", "autumn"} {
		if err != nil {
			break
		}
		dirs[i] = filepath.Join(shared, name)
		var world *demo.World
		if world, err = demo.New(demo.Config{Seed: demo.Seed + uint64(i), Days: 28}); err == nil {
			if err = os.Mkdir(dirs[i], 0o700); err == nil {
				err = world.WriteFolder(dirs[i])
			}
		}
	}
	return dirs, err
})

func twoSeasons(t *testing.T) (spring, autumn string) {
	t.Helper()
	dirs, err := seasons()
	if err != nil {
		t.Fatal(err)
	}
	return dirs[0], dirs[1]
}

// ofSeasons is what was said of them, by command line.
var ofSeasons sync.Map

// decoded is what a command line says of the seasons as JSON, asked once for all
// tests.
func decoded[T any](t *testing.T, args ...string) (v T) {
	t.Helper()
	ask, _ := ofSeasons.LoadOrStore(fmt.Sprint(args), sync.OnceValues(func() (string, error) {
		var out strings.Builder
		err := runAt(&env{context.Background(), strings.NewReader(""), &out, io.Discard, func() time.Time { return winter }}, append(args, "--json"))
		return out.String(), err
	}))
	text, err := ask.(func() (string, error))()
	if err == nil {
		err = json.Unmarshal([]byte(text), &v)
	}
	if err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	return v
}
