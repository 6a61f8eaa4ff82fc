//go:build unix

package app

import "golang.org/x/sys/unix"

// FreeBytes is how much this user may still write to the disk of a folder.
func FreeBytes(folder string) (uint64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(folder, &s); err != nil {
		return 0, err
	}
	return uint64(s.Bavail) * uint64(s.Bsize), nil //nolint:gosec,unconvert // neither is negative; their types differ by system
}
