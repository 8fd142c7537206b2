package trial_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/cmd/parstead/tell"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/correlate/plan"
	"parstead/ingest"
	"parstead/light"
)

// A trial that uses every key and every sheet has no mistake, and what it says
// arrives.
func TestEveryKey(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS("../../../testdata/trials/every-key")); err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{"password", "entry-code"} {
		if err := os.Chmod(filepath.Join(dir, secret), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	writeCertificate(t, dir)
	read, problems := trial.Load(dir)
	for _, p := range problems {
		if p.File != "" {
			t.Error(p)
		}
	}
	if !trial.Usable(problems) {
		t.FailNow()
	}
	checkServices(t, read)
	checkRack(t, read)
	if d := cmp.Diff([]plan.Treatment{
		{Name: "medium", Levels: []string{"coir", "bark"}, SetPer: analysis.PerPlant},
		{Name: "light_level", Levels: []string{"low", "high"}, SetPer: analysis.PerBin, SetsLight: true, OnlyBins: map[string][]string{"low": {"upper"}, "high": {"pond"}}},
		{Name: "feed", Levels: []string{"weak", "strong"}, SetPer: analysis.PerReservoir},
		{Name: "cultivar", Levels: []string{"A", "B"}, SetPer: analysis.Given},
	}, read.Treatments); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]trial.Outcome{
		{
			Outcome: plan.Outcome{
				Name: "biomass_g", Kind: analysis.Measure, Start: "start_g", Scale: analysis.Natural,
				Primary: true, Matters: plan.Matters{Share: 0.1}, Only: map[string]string{"species": "one", "cultivar": "A"},
			}, Unit: "g", Basis: "dry", StartBasis: "dry", Gross: true,
		},
		{Outcome: plan.Outcome{Name: "flowers", Kind: analysis.Count, Scale: analysis.Natural, Exposure: "stems"}},
		{Outcome: plan.Outcome{Name: "leaves", Kind: analysis.Count, Scale: analysis.Natural}},
		{Outcome: plan.Outcome{Name: "rooted", Kind: analysis.YesNo, Scale: analysis.Natural, Matters: plan.Matters{Absolute: 0.1}}},
	}, read.Outcomes); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(map[string]trial.Cell{
		"biomass_g": {Value: 4.5, Again: 4.4, HasAgain: true}, "flowers": {Value: 3}, "leaves": {Value: 6, Counted: true}, "rooted": {Value: 1},
	}, read.Plants[0].Values); d != "" {
		t.Error(d)
	}
}

func checkServices(t *testing.T, read *trial.Trial) {
	t.Helper()
	in := func(name string) string { return read.Path(name) }
	if d := cmp.Diff(trial.Broker{
		URL: "ssl://127.0.0.1:8883", ClientID: "rack-1", Username: "rack", Password: trial.Secret(in("password")),
		CAFile: in("ca.pem"), CertFile: in("cert.pem"), KeyFile: in("key.pem"),
	}, read.Broker); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(trial.Page{
		Listen: "0.0.0.0:8620", Code: trial.Secret(in("entry-code")), CertFile: in("cert.pem"), KeyFile: in("key.pem"),
	}, read.Page); d != "" {
		t.Error(d)
	}
	mail, _ := read.Tell.Way.(tell.Mail)
	if mail.Port != 465 || mail.Username != "rack" || mail.Password != trial.Secret(in("password")) || read.Backup.Keep != 7 {
		t.Errorf("%+v %+v", mail, read.Backup)
	}
}

func checkRack(t *testing.T, read *trial.Trial) {
	t.Helper()
	hours := func(h ...int) (clocks []light.TimeOfDay) {
		for _, h := range h {
			clocks = append(clocks, light.TimeOfDay(time.Duration(h)*time.Hour))
		}
		return clocks
	}
	changed := time.Date(2026, 4, 20, 11, 0, 0, 0, time.UTC)
	lamp := read.Rack.Lamps[0]
	if d := cmp.Diff(light.Lamp{
		Name: "bar", LuxPerPPFD: 67, Watts: 48, On: hours(7, 13), Off: hours(12, 21), During: light.Span{Until: changed},
	}, lamp); d != "" {
		t.Error(d)
	}
	if next := read.Rack.Lamps[1]; !next.During.From.Equal(changed) || next.LuxPerPPFD <= 0 {
		t.Errorf("%+v", next)
	}
	if d := cmp.Diff(light.Bin{
		Name: "pond", Rows: 2, Columns: 3, PitchRows: 10, PitchColumns: 10, Lamps: []string{"bar", "tube"},
		Block: "shelf 2", Reservoir: "B", WaterCM: 8, Attenuation: 4, AttenuationError: 0.15,
	}, read.Rack.Bins[1]); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]light.Flood{{Reservoir: "A", Times: hours(8, 20), Lasts: 15 * time.Minute}}, read.Rack.Floods); d != "" {
		t.Error(d)
	}
	if l := read.Rack.Limits; *l.Celsius != [2]float64{16, 30} || *l.Humidity != [2]float64{40, 95} || read.Rack.BaseCelsius != 10 || !read.Rack.HasBase {
		t.Errorf("%+v", l)
	}
	if f := read.Feeds[2]; f.Number != (ingest.NumberForm{Suffix: "% RH", Decimal: ","}) || f.Zone != read.Rack.Zone {
		t.Errorf("%+v", f)
	}
	if s := read.Rack.Sensors[1]; s.DepthCM != 7 || s.Immersion != 1.25 {
		t.Errorf("%+v", s)
	}
}

// Each table knows the keys that are agreed on, and no other. A wrong key lists
// those that are known.
func TestKnownKeys(t *testing.T) {
	t.Parallel()
	for heading, keys := range map[string]string{
		"[trial]":       "name timezone starts ends day_starts analyse_by light_window off_target",
		"[broker]":      "url listen client_id username password_file reader reader_password_file ca_file cert_file key_file",
		"[page]":        "listen code_file cert_file key_file",
		"[tell]":        "command mail daily",
		"[tell.mail]":   "to from host port username password_file",
		"[backup]":      "folder at keep",
		"[climate]":     "base_celsius celsius humidity",
		"[cost]":        "currency per_kwh",
		"[[load]]":      "name watts hours_per_day bins",
		"[[lamp]]":      "name lux_per_ppfd spectrum illuminant watts on off from until",
		"[[bin]]":       "name rows columns pitch_cm lamp block reservoir target_dli water_cm attenuation_per_m attenuation_error daylight",
		"[[flood]]":     "reservoir times lasts",
		"[[sensor]]":    "name measures bin row column topic value suffix decimal_mark time time_format every max_gap scale offset valid relative_error depth_cm immersion_factor from until shared",
		"[[treatment]]": "name levels set_per sets only_bins",
		"[[outcome]]":   "name kind unit basis start start_basis scale primary matters only exposure",
	} {
		dir := folder(t, edit{"trial.toml", sound["trial.toml"], heading + "\nqqqqqqqq = 1\n"})
		_, problems := trial.Load(dir)
		known := ""
		for _, p := range problems {
			if strings.Contains(p.Says, `knows no key "qqqqqqqq"`) {
				_, known, _ = strings.Cut(p.Mend, "known here: ")
			}
		}
		got, want := strings.Split(known, ", "), strings.Fields(keys)
		slices.Sort(got)
		slices.Sort(want)
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: %s", heading, d)
		}
	}
}

// writeCertificate makes a certificate that signs itself: no key lies in the
// repository.
func writeCertificate(t *testing.T, dir string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	of := &x509.Certificate{SerialNumber: big.NewInt(1)}
	certificate, err := x509.CreateCertificate(rand.Reader, of, of, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	for name, block := range map[string]pem.Block{
		"ca.pem":   {Type: "CERTIFICATE", Bytes: certificate},
		"cert.pem": {Type: "CERTIFICATE", Bytes: certificate},
		"key.pem":  {Type: "PRIVATE KEY", Bytes: private},
	} {
		if err := os.WriteFile(filepath.Join(dir, name), pem.EncodeToMemory(&block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}
