package harvest

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"parstead/cmd/parstead/demo"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/account"
)

// season is a quiet season of the demo in a folder of its own, its readings straight
// from the world.
type season struct {
	*demo.World
	dir, config string // config is what trial.toml says
	readings    *light.Memory
}

func quietSeason(t *testing.T) season {
	t.Helper()
	w, err := demo.New(demo.Config{Seed: 3, Days: demo.MinDays, Quiet: true})
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "demo")
	if err := w.WriteFolder(dir); err != nil {
		t.Fatal(err)
	}
	config, err := os.ReadFile(filepath.Join(dir, "trial.toml"))
	if err != nil {
		t.Fatal(err)
	}
	return season{w, dir, string(config), w.Readings(30 * time.Minute)}
}

// opened is the trial with trial.toml as given, its account and its plants' light.
func (s season) opened(t *testing.T, config string, now time.Time) (*trial.Trial, *account.Account, []account.PlantLight) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(s.dir, "trial.toml"), []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	tr, err := trial.Open(s.dir)
	if err != nil {
		t.Fatal(err)
	}
	lightAccount := account.New(&tr.Rack, s.readings, account.Options{Now: func() time.Time { return now }})
	lights, err := lightAccount.Plants(t.Context(), tr.Stays(), tr.Window)
	if err != nil {
		t.Fatal(err)
	}
	return tr, lightAccount, lights
}
