package db

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net"
	"path/filepath"
	"strings"

	"github.com/Microsoft/go-winio"
)

// pipeName is the pipe of the server on a database, by the path of its lock.
func pipeName(lock string) string {
	if full, err := filepath.Abs(lock); err == nil {
		lock = full
	}
	sum := sha256.Sum256([]byte(strings.ToLower(lock)))
	return `\\.\pipe\eclose-` + hex.EncodeToString(sum[:16])
}

// listen makes a pipe for the user of this process alone.
func listen(_ context.Context, database string) (net.Listener, error) {
	name := pipeName(lockPath(database))
	ln, err := winio.ListenPipe(name, &winio.PipeConfig{SecurityDescriptor: "D:P(A;;GA;;;OW)"})
	if err != nil {
		return nil, fmt.Errorf("making the pipe of %s: %w", database, err)
	}
	return &socket{ln, name}, nil
}

type socket struct {
	net.Listener
	name string
}

func (s *socket) address() string { return s.name }

func dial(ctx context.Context, address string) (net.Conn, error) {
	return winio.DialPipeContext(ctx, address)
}
