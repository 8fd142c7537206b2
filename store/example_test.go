package store_test

import (
	"context"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"time"

	"parstead/light"
	"parstead/store"
)

// A daemon keeps a group of readings; whoever wants to see them opens a
// snapshot.
func Example() {
	folder, err := os.MkdirTemp("", "trial")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(folder) //nolint:errcheck // an example's
	db, err := store.Open(filepath.Join(folder, store.FileName), store.Options{})
	if err != nil {
		log.Fatal(err)
	}
	defer db.Close() //nolint:errcheck // an example's

	ctx := context.Background()
	noon := time.Date(2026, 7, 21, 12, 0, 0, 0, time.UTC)
	reading := light.Reading{Sensor: "upper centre", At: noon, Value: 85.5, Mark: light.OwnTime, Arrived: noon}
	fates, err := db.Append(ctx, []light.Reading{reading, reading})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(fates[0] == light.Stored, fates[1] == light.Duplicate)

	view, err := db.View()
	if err != nil {
		log.Fatal(err)
	}
	defer view.Close() //nolint:errcheck // an example's
	var series light.Series
	if err := view.Series(ctx, "upper centre", light.Span{}, &series); err != nil {
		log.Fatal(err)
	}
	fmt.Println(time.Unix(0, series.Times[0]).UTC(), series.Values)
	// Output:
	// true true
	// 2026-07-21 12:00:00 +0000 UTC [85.5]
}
