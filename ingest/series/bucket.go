package series

import (
	"context"
	"errors"
	"time"
)

// object is one entry of a listing.
type object struct {
	name string
	size int64
	mod  time.Time
}

// bucket is the little the store asks of a place to keep files. Errors about a
// name that is not there, or is there already, wrap fs.ErrNotExist and fs.ErrExist.
type bucket interface {
	// read returns the whole object, or errTooLong if it is longer than limit.
	read(ctx context.Context, name string, limit int64) ([]byte, error)
	// write makes the object appear whole or not at all.
	write(ctx context.Context, name string, data []byte) error
	// flush returns when everything written is safe from a power cut.
	flush(ctx context.Context) error
	// create is settle, then write and settle of an object that must not exist yet.
	create(ctx context.Context, name string, data []byte) error
	remove(ctx context.Context, name string) error
	// list walks the objects under a folder in any order.
	list(ctx context.Context, folder string, yield func(object) error) error
	close() error
}

// errTooLong says that an object is longer than what was written.
var errTooLong = errors.New("it is longer than it was written")
