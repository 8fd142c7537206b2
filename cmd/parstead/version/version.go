// Package version words which build of the program this is.
package version

import (
	"runtime"
	"runtime/debug"

	"github.com/prometheus/client_golang/prometheus"
)

// Number is this release's, by semantic versioning: raised with each release, the
// first part where a file, a command or a name of JSON changes its meaning.
const Number = "0.9.0"

// Revision is the revision that the program was built from, with a word on changes
// that were not committed; "" where the build doesn't know.
func Revision() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	revision, changed := "", ""
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			revision = s.Value[:min(12, len(s.Value))]
		case "vcs.modified":
			if s.Value == "true" {
				changed = " with local changes"
			}
		}
	}
	if revision == "" {
		return ""
	}
	return revision + changed
}

// Words is the program's name and version with the revision and the platform it was
// built from and for.
func Words() string {
	words := "parstead " + Number + " ("
	if r := Revision(); r != "" {
		words += "revision " + r + ", "
	}
	return words + runtime.GOOS + "/" + runtime.GOARCH + ", " + runtime.Version() + ")"
}

// Metric tells monitoring which build runs.
func Metric() prometheus.Collector {
	g := prometheus.NewGaugeVec(prometheus.GaugeOpts{
		Name: "parstead_build_info", Help: "1; the labels tell which build of the program runs.",
	}, []string{"version", "goversion"})
	g.WithLabelValues(Number, runtime.Version()).Set(1)
	return g
}
