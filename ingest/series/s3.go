package series

import (
	"cmp"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"time"

	"github.com/minio/minio-go/v7/pkg/s3utils"
)

// s3Bucket is a part of a bucket on any store that speaks S3.
type s3Bucket struct {
	client *s3Client
	prefix string
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
	region := cmp.Or(q.Get("region"), os.Getenv("AWS_REGION"), s3utils.GetRegionFromURL(*endpoint))
	b := s3Bucket{newS3Client(*endpoint, u.Host, region, q.Get("use_path_style") == "true"), q.Get("prefix")}
	_, err = b.page(ctx, url.Values{"max-keys": {"1"}})
	if fault, ok := errors.AsType[*s3Fault](err); ok && region == "" && fault.Region != "" {
		b.client.region = fault.Region // the bucket lies elsewhere, and the answer says where
		_, err = b.page(ctx, url.Values{"max-keys": {"1"}})
	}
	if err != nil {
		return nil, fmt.Errorf("%w; use an existing bucket and set AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY and AWS_REGION", err)
	}
	return b, nil
}

func (b s3Bucket) read(ctx context.Context, name string, limit int64) ([]byte, error) {
	data, err := b.client.do(ctx, s3Request{method: http.MethodGet, key: b.prefix + name, limit: limit})
	if err != nil {
		return nil, translate(name, err)
	}
	return data, nil
}

func (b s3Bucket) write(ctx context.Context, name string, data []byte) error {
	return b.put(ctx, name, data, http.Header{})
}

func (b s3Bucket) create(ctx context.Context, name string, data []byte) error {
	return b.put(ctx, name, data, http.Header{"If-None-Match": {"*"}})
}

// put writes in one request: the object appears whole or not at all, and the
// condition holds.
func (b s3Bucket) put(ctx context.Context, name string, data []byte, h http.Header) error {
	h.Set("Content-Type", "application/octet-stream")
	_, err := b.client.do(ctx, s3Request{method: http.MethodPut, key: b.prefix + name, header: h, body: data, limit: maxS3Answer})
	return translate(name, err)
}

// flush has nothing to do: object storage acknowledges what is safe.
func (b s3Bucket) flush(context.Context) error { return nil }

func (b s3Bucket) remove(ctx context.Context, name string) error {
	_, err := b.client.do(ctx, s3Request{method: http.MethodDelete, key: b.prefix + name, limit: maxS3Answer})
	return translate(name, err)
}

// s3Listing is one page of ListObjectsV2.
type s3Listing struct {
	XMLName               xml.Name `xml:"ListBucketResult"` // another document is not an empty listing
	EncodingType          string   // "url" where the keys are escaped, as asked
	IsTruncated           bool
	NextContinuationToken string
	Contents              []struct {
		Key          string
		Size         int64
		LastModified time.Time
	}
}

func (b s3Bucket) list(ctx context.Context, folder string, yield func(object) error) error {
	q := url.Values{"prefix": {b.prefix + folder + "/"}}
	for {
		page, err := b.page(ctx, q)
		if err != nil {
			return fmt.Errorf("listing %s: %w", folder, err)
		}
		for _, o := range page.Contents {
			key := o.Key
			if page.EncodingType == "url" {
				if key, err = url.QueryUnescape(o.Key); err != nil {
					return fmt.Errorf("listing %s: %w", folder, err)
				}
			}
			if len(key) < len(b.prefix) {
				return fmt.Errorf("listing %s: the store names %q, which is not in it", folder, key)
			}
			if err := yield(object{key[len(b.prefix):], o.Size, o.LastModified}); err != nil {
				return err
			}
		}
		if !page.IsTruncated {
			return nil
		}
		if page.NextContinuationToken == "" {
			return fmt.Errorf("listing %s: the store says that there is more, but not where", folder)
		}
		q.Set("continuation-token", page.NextContinuationToken)
	}
}

func (b s3Bucket) page(ctx context.Context, q url.Values) (page s3Listing, err error) {
	q.Set("list-type", "2")
	q.Set("encoding-type", "url") // XML cannot hold every key
	data, err := b.client.do(ctx, s3Request{method: http.MethodGet, query: q, limit: maxS3Answer})
	if err == nil {
		err = xml.Unmarshal(data, &page)
	}
	return page, err
}

func (b s3Bucket) close() error { return nil }

// translate puts the codes the store asks about into the words of io/fs.
func translate(name string, err error) error {
	if err == nil {
		return nil
	}
	if fault, ok := errors.AsType[*s3Fault](err); ok {
		switch fault.Code {
		case "NoSuchKey":
			return fmt.Errorf("%s: %w", name, fs.ErrNotExist)
		case "PreconditionFailed", "ConditionalRequestConflict":
			// The second is said where two create the same name at one moment, and one of
			// them is to look again.
			return fmt.Errorf("%s: %w", name, fs.ErrExist)
		}
	}
	return fmt.Errorf("%s: %w", name, err)
}
