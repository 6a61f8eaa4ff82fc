package db

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/windows"
)

// takeLock takes a lock that the system drops when the process ends.
func takeLock(path string) (*fileLock, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("locking it: %w", err)
	}
	err = windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, new(windows.Overlapped))
	if err != nil {
		_ = f.Close()
		if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
			return nil, inUse(path)
		}
		return nil, fmt.Errorf("locking it by %s: %w", path, err)
	}
	return &fileLock{path: path, file: f}, nil
}

// holderOf cannot read a file that is locked here: the pipe of a server has a
// name that follows from that of the lock.
func holderOf(path string) (pid, socket string) {
	name := pipeName(path)
	if _, err := os.Stat(name); err != nil {
		return "", ""
	}
	return "", name
}
