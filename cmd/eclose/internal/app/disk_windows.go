package app

import "golang.org/x/sys/windows"

// FreeBytes is how much this user may still write to the disk of a folder.
func FreeBytes(folder string) (uint64, error) {
	p, err := windows.UTF16PtrFromString(folder)
	if err != nil {
		return 0, err
	}
	var free uint64
	err = windows.GetDiskFreeSpaceEx(p, &free, nil, nil)
	return free, err
}
