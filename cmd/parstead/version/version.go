// Package version words which build of the program this is.
package version

import (
	"runtime"
	"runtime/debug"
)

// Words is the module's version with the revision and the platform it was
// built from and for.
func Words() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "parstead, unknown build"
	}
	revision, dirty := "", ""
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			revision = " " + s.Value[:min(12, len(s.Value))]
		case "vcs.modified":
			if s.Value == "true" {
				dirty = " with local changes"
			}
		}
	}
	return "parstead " + info.Main.Version + revision + dirty +
		" (" + runtime.GOOS + "/" + runtime.GOARCH + ", " + info.GoVersion + ")"
}
