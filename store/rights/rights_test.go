package rights

import (
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// What is made in a folder is its user's alone; where the folder is its group's to write
// in, the group's too, down to folders made within, whatever the umask.
func TestWhatAGroupMayDo(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("no such rights here")
	}
	for _, c := range []struct{ folder, file, within fs.FileMode }{
		{0o700, 0o600, 0o700},
		{0o755, 0o600, 0o700},
		{0o770, 0o660, 0o770},
		{0o775 | fs.ModeSetgid, 0o660, 0o770 | fs.ModeSetgid},
	} {
		folder := t.TempDir()
		if err := os.Chmod(folder, c.folder); err != nil {
			t.Fatal(err)
		}
		if in := In(folder, 0o600); in != c.file {
			t.Errorf("in a folder of %v: %v, want %v", c.folder, in, c.file)
		}
		file := filepath.Join(folder, "file")
		if err := os.WriteFile(file, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := Share(file, 0o600); err != nil {
			t.Fatal(err)
		}
		deep := filepath.Join(folder, "a", "b")
		if err := MkdirAll(deep, 0o700); err != nil {
			t.Fatal(err)
		}
		for path, want := range map[string]fs.FileMode{file: c.file, filepath.Dir(deep): c.within, deep: c.within} {
			info, err := os.Stat(path)
			if err != nil {
				t.Fatal(err)
			}
			const bits = fs.ModePerm | fs.ModeSetgid
			if is := info.Mode() & bits; is != want && runtime.GOOS == "linux" || is.Perm() != want.Perm() {
				t.Errorf("in a folder of %v, %s: %v, want %v", c.folder, filepath.Base(path), is, want)
			}
		}
		if err := MkdirAll(filepath.Join(file, "x"), 0o700); err == nil {
			t.Error("a folder within a file")
		}
	}
}
