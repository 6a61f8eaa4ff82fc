//go:build unix

package db

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"
)

// lockFile takes an advisory lock that the kernel drops when the process ends,
// however it ends. The file itself stays: removing it would let two processes
// lock two files of one name.
func lockFile(path string) (unlock func() error, err error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		return nil, fmt.Errorf("locking it: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		holder, _ := io.ReadAll(io.LimitReader(f, 20))
		_ = f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, inUse(path, bytes.TrimSpace(holder))
		}
		return nil, fmt.Errorf("locking it by %s: %w", path, err)
	}
	if err := f.Truncate(0); err == nil {
		_, _ = fmt.Fprintf(f, "%d\n", os.Getpid()) // a courtesy to the second process
	}
	return f.Close, nil
}
