package daemon

import "golang.org/x/sys/windows"

// freeBytes is what an ordinary user may still write at the path.
func freeBytes(path string) (free uint64, err error) {
	name, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return 0, err
	}
	err = windows.GetDiskFreeSpaceEx(name, &free, nil, nil)
	return free, err
}
