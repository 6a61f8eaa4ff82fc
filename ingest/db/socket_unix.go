//go:build unix

package db

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
)

// longestSocket is the longest path that a Unix socket may have, on the system
// that allows least.
const longestSocket = 100

// listen makes a socket for the owner of the database alone: beside the file,
// or in a private folder where that path is too long.
func listen(ctx context.Context, database string) (net.Listener, error) {
	// Made in a folder that nobody else may enter and moved from there: it is
	// never open to others, not even at first.
	parent := filepath.Dir(database)
	final := database + ".sock"
	if len(parent)+len("/.eclose-0123456789/s") > longestSocket || len(final) > longestSocket {
		parent, final = "", ""
	}
	dir, err := os.MkdirTemp(parent, ".eclose-*")
	if err != nil {
		return nil, fmt.Errorf("making the socket of %s: %w", database, err)
	}
	path := filepath.Join(dir, "s")
	ln, err := new(net.ListenConfig).Listen(ctx, "unix", path)
	if err != nil {
		return nil, fmt.Errorf("making the socket of %s: %w", database, errors.Join(err, os.RemoveAll(dir)))
	}
	if u, ok := ln.(*net.UnixListener); ok {
		u.SetUnlinkOnClose(false)
	}
	err = os.Chmod(path, 0o600)
	out := &socket{Listener: ln, path: path, dir: dir}
	if err == nil && final != "" {
		if err = os.Rename(path, final); err == nil { // over that of a server that was killed
			out.path, out.dir, err = final, "", os.Remove(dir)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("making the socket of %s: %w", database, errors.Join(err, ln.Close(), os.RemoveAll(dir)))
	}
	return out, nil
}

// socket removes what listen made.
type socket struct {
	net.Listener
	path, dir string
}

func (s *socket) address() string { return s.path }

func (s *socket) Close() error {
	err := errors.Join(s.Listener.Close(), os.Remove(s.path))
	if s.dir != "" {
		err = errors.Join(err, os.Remove(s.dir))
	}
	return err
}

func dial(ctx context.Context, address string) (net.Conn, error) {
	return new(net.Dialer).DialContext(ctx, "unix", address)
}
