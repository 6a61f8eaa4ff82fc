//go:build unix

package main

import "syscall"

// openUp lets new files be for everybody until the function that it returns is
// called.
func openUp() func() {
	old := syscall.Umask(0)
	return func() { syscall.Umask(old) }
}
