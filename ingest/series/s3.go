package series

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"

	"github.com/minio/minio-go/v7"
	"github.com/minio/minio-go/v7/pkg/credentials"
)

// s3Bucket is a part of a bucket on any store that speaks S3.
type s3Bucket struct {
	client       *minio.Client
	name, prefix string
}

// openBucket opens object storage: s3://bucket?region=…, and for a store other
// than Amazon's &endpoint=https://…&use_path_style=true; prefix=… keeps to a part
// of the bucket. The keys come from the environment, from Amazon's file of
// credentials, or from the machine's role. That the bucket is there and open to
// us is asked at once, not at the first reading.
func openBucket(ctx context.Context, storeURL string) (bucket, error) {
	u, err := url.Parse(storeURL)
	if err != nil {
		return nil, err
	}
	if u.Scheme != "s3" || u.Host == "" {
		return nil, errors.New("use a folder, or s3://bucket")
	}
	q := u.Query()
	for key := range q {
		switch key {
		case "region", "endpoint", "use_path_style", "prefix":
		default:
			return nil, fmt.Errorf("unknown option %q; use region, endpoint, use_path_style and prefix", key)
		}
	}
	endpoint := &url.URL{Scheme: "https", Host: "s3.amazonaws.com"}
	if text := q.Get("endpoint"); text != "" {
		if endpoint, err = url.Parse(text); err != nil || endpoint.Host == "" {
			return nil, fmt.Errorf("endpoint %q is not a URL such as https://s3.example.org", text)
		}
	}
	lookup := minio.BucketLookupAuto
	if q.Get("use_path_style") == "true" {
		lookup = minio.BucketLookupPath
	}
	client, err := minio.New(endpoint.Host, &minio.Options{
		Creds:  credentials.NewChainCredentials([]credentials.Provider{&credentials.EnvAWS{}, &credentials.FileAWSCredentials{}, &credentials.IAM{}}),
		Secure: endpoint.Scheme == "https", Region: cmp.Or(q.Get("region"), os.Getenv("AWS_REGION")), BucketLookup: lookup,
	})
	if err != nil {
		return nil, err
	}
	b := s3Bucket{client, u.Host, q.Get("prefix")}
	ok, err := client.BucketExists(ctx, b.name)
	if err == nil && !ok {
		err = errors.New("bucket not found")
	}
	if err != nil {
		return nil, fmt.Errorf("%w; use an existing bucket and set AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY and AWS_REGION", err)
	}
	return b, nil
}

func (b s3Bucket) read(ctx context.Context, name string, limit int64) ([]byte, error) {
	o, err := b.client.GetObject(ctx, b.name, b.prefix+name, minio.GetObjectOptions{})
	if err != nil {
		return nil, translate(name, err)
	}
	defer o.Close() //nolint:errcheck // it was only read from
	data, err := io.ReadAll(io.LimitReader(o, limit+1))
	if err != nil {
		return nil, translate(name, err)
	}
	if int64(len(data)) > limit {
		return nil, errTooLong
	}
	return data, nil
}

func (b s3Bucket) write(ctx context.Context, name string, data []byte) error {
	return b.put(ctx, name, data, minio.PutObjectOptions{})
}

func (b s3Bucket) create(ctx context.Context, name string, data []byte) error {
	var o minio.PutObjectOptions
	o.SetMatchETagExcept("*")
	return b.put(ctx, name, data, o)
}

func (b s3Bucket) put(ctx context.Context, name string, data []byte, o minio.PutObjectOptions) error {
	// In one part the object appears whole or not at all, and the condition holds.
	o.ContentType, o.DisableMultipart = "application/octet-stream", true
	_, err := b.client.PutObject(ctx, b.name, b.prefix+name, bytes.NewReader(data), int64(len(data)), o)
	return translate(name, err)
}

// flush has nothing to do: object storage acknowledges what is safe.
func (b s3Bucket) flush(context.Context) error { return nil }

func (b s3Bucket) remove(ctx context.Context, name string) error {
	return translate(name, b.client.RemoveObject(ctx, b.name, b.prefix+name, minio.RemoveObjectOptions{}))
}

func (b s3Bucket) list(ctx context.Context, folder string, yield func(object) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel() // ends the listing where yield gives up
	for o := range b.client.ListObjects(ctx, b.name, minio.ListObjectsOptions{Prefix: b.prefix + folder + "/", Recursive: true}) {
		if o.Err != nil {
			return fmt.Errorf("listing %s: %w", folder, o.Err)
		}
		if err := yield(object{o.Key[len(b.prefix):], o.Size, o.LastModified}); err != nil {
			return err
		}
	}
	return ctx.Err()
}

func (b s3Bucket) close() error { return nil }

// translate puts the codes the store asks about into the words of io/fs.
func translate(name string, err error) error {
	if err == nil {
		return nil
	}
	switch minio.ToErrorResponse(err).Code {
	case minio.NoSuchKey:
		return fmt.Errorf("%s: %w", name, fs.ErrNotExist)
	case minio.PreconditionFailed, "ConditionalRequestConflict":
		// The second is said where two create the same name at one moment, and one of
		// them is to look again.
		return fmt.Errorf("%s: %w", name, fs.ErrExist)
	}
	return fmt.Errorf("%s: %w", name, err)
}
