package series

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// lockName is the file whose lock belongs to the one process that writes. The
// operating system gives the lock up when the process ends, however it ends.
const lockName = ".lock"

var errLocked = errors.New("locked by another process")

// lockFolder takes the writer's lock of a store, waiting up to wait for it.
func lockFolder(ctx context.Context, root string, wait time.Duration) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(root, lockName), os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("opening the lock of series store %s: %w", root, err)
	}
	deadline := time.NewTimer(wait)
	defer deadline.Stop()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		err := tryLock(f)
		if err == nil {
			// Who holds it is only for the message below: losing it does no harm.
			if f.Truncate(0) == nil {
				fmt.Fprintf(f, "%d\n", os.Getpid())
			}
			return f, nil
		}
		if !errors.Is(err, errLocked) {
			f.Close() //nolint:errcheck // the first error is the one that counts
			return nil, fmt.Errorf("locking series store %s: %w", root, err)
		}
		select {
		case <-ctx.Done():
			f.Close() //nolint:errcheck // the context's error is the one that counts
			return nil, ctx.Err()
		case <-deadline.C:
			holder := holderOf(f)
			f.Close() //nolint:errcheck // it was only read from
			return nil, fmt.Errorf("series store %s is being written by %s: %w; stop it, or try again later", root, holder, ErrInUse)
		case <-tick.C:
		}
	}
}

func holderOf(f *os.File) string {
	text, err := io.ReadAll(io.NewSectionReader(f, 0, 32))
	if pid := strings.TrimSpace(string(text)); err == nil && pid != "" {
		return "process " + pid
	}
	return "another process"
}
