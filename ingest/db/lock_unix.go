//go:build unix

package db

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"syscall"
)

// takeLock takes an advisory lock that the kernel drops when the process ends,
// however it ends. The file itself stays: removing it would let two processes
// lock two files of one name.
func takeLock(path string) (*fileLock, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("locking it: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		_ = f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, inUse(path)
		}
		return nil, fmt.Errorf("locking it by %s: %w", path, err)
	}
	l := &fileLock{path: path, file: f}
	if err := errors.Join(f.Chmod(0o600), l.say("")); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return l, nil
}

// holderOf reads who holds a lock, as far as the holder said.
func holderOf(path string) (pid, socket string) {
	b, err := os.ReadFile(path)
	if err != nil {
		return "", ""
	}
	lines := strings.Split(string(b), "\n")
	pid = strings.TrimSpace(lines[0])
	if len(lines) > 1 {
		socket = lines[1]
	}
	return pid, socket
}
