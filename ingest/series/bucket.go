package series

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"time"

	"gocloud.dev/blob"
	"gocloud.dev/gcerrors"
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

// blobBucket is a bucket on whatever gocloud.dev/blob can open.
type blobBucket struct{ b *blob.Bucket }

// openBucket opens object storage: s3://bucket?region=…, and for a store other
// than Amazon's &endpoint=https://…&use_path_style=true; prefix=… keeps to a part
// of the bucket. The keys come from the environment. That the bucket is there and
// open to us is asked at once, not at the first reading.
func openBucket(ctx context.Context, url string) (bucket, error) {
	b, err := blob.OpenBucket(ctx, url)
	if err != nil {
		return nil, err
	}
	ok, err := b.IsAccessible(ctx)
	if err == nil && !ok {
		err = errors.New("bucket not found")
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("%w; use an existing bucket and set AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY and AWS_REGION", err), b.Close())
	}
	return blobBucket{b}, nil
}

func (b blobBucket) read(ctx context.Context, name string, limit int64) ([]byte, error) {
	r, err := b.b.NewReader(ctx, name, nil)
	if err != nil {
		return nil, translate(name, err)
	}
	defer r.Close() //nolint:errcheck // it was only read from
	if r.Size() > limit {
		return nil, errTooLong
	}
	data := make([]byte, 0, r.Size()+bytes.MinRead)
	buf := bytes.NewBuffer(data)
	if _, err := buf.ReadFrom(io.LimitReader(r, limit+1)); err != nil {
		return nil, translate(name, err)
	}
	if int64(buf.Len()) > limit {
		return nil, errTooLong
	}
	return buf.Bytes(), nil
}

func (b blobBucket) write(ctx context.Context, name string, data []byte) error {
	return b.put(ctx, name, data, false)
}

func (b blobBucket) create(ctx context.Context, name string, data []byte) error {
	return b.put(ctx, name, data, true)
}

func (b blobBucket) put(ctx context.Context, name string, data []byte, ifNotExist bool) error {
	// Cancelling the context before Close is how blob abandons a half-written object.
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	w, err := b.b.NewWriter(ctx, name, &blob.WriterOptions{
		IfNotExist: ifNotExist, ContentType: "application/octet-stream", DisableContentTypeDetection: true,
	})
	if err != nil {
		return translate(name, err)
	}
	if _, err := w.Write(data); err != nil {
		cancel()
		w.Close() //nolint:errcheck // the first error is the one that counts
		return translate(name, err)
	}
	return translate(name, w.Close())
}

// flush has nothing to do: object storage acknowledges what is safe.
func (b blobBucket) flush(context.Context) error { return nil }

func (b blobBucket) remove(ctx context.Context, name string) error {
	return translate(name, b.b.Delete(ctx, name))
}

func (b blobBucket) list(ctx context.Context, folder string, yield func(object) error) error {
	it := b.b.List(&blob.ListOptions{Prefix: folder + "/"})
	for {
		o, err := it.Next(ctx)
		if err == io.EOF { //nolint:errorlint // the iterator promises the bare io.EOF
			return nil
		}
		if err != nil {
			return fmt.Errorf("listing %s: %w", folder, err)
		}
		if err := yield(object{o.Key, o.Size, o.ModTime}); err != nil {
			return err
		}
	}
}

func (b blobBucket) close() error { return b.b.Close() }

// translate puts the two codes the store asks about into the words of io/fs.
func translate(name string, err error) error {
	switch gcerrors.Code(err) {
	case gcerrors.OK:
		return nil
	case gcerrors.NotFound:
		return fmt.Errorf("%s: %w", name, fs.ErrNotExist)
	case gcerrors.FailedPrecondition:
		return fmt.Errorf("%s: %w", name, fs.ErrExist)
	default: // S3 has no such code
	}
	// S3 says so where two create the same name at one moment, and one of them is
	// to look again.
	if c := (interface{ ErrorCode() string })(nil); errors.As(err, &c) && c.ErrorCode() == "ConditionalRequestConflict" {
		return fmt.Errorf("%s: %w", name, fs.ErrExist)
	}
	return fmt.Errorf("%s: %w", name, err)
}
