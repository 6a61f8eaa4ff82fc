package series

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/minio/minio-go/v7/pkg/credentials"
	"github.com/minio/minio-go/v7/pkg/s3utils"
	"github.com/minio/minio-go/v7/pkg/signer"
	"github.com/sethvargo/go-retry"
)

// Bounds of a conversation with the store; our own.
const (
	maxS3Answer = 16 << 20 // bytes of a listing or a fault: a page of 1,000 names takes below 1 MB
	s3Retries   = 9
	s3Pause     = 100 * time.Millisecond // before the second attempt, doubled each time
	s3MaxPause  = time.Second
)

// s3Client sends signed requests about one bucket. The signature and the search
// for keys are minio-go's; its whole client would link 200 kinds of request.
type s3Client struct {
	http     *http.Client
	keys     *credentials.Credentials
	endpoint url.URL
	bucket   string
	region   string // may be empty
	byPath   bool   // the bucket's name is in the path, not in the host
}

func newS3Client(endpoint url.URL, bucket, region string, byPath bool) *s3Client {
	t, _ := http.DefaultTransport.(*http.Transport)
	t = t.Clone()
	t.MaxIdleConnsPerHost, t.ResponseHeaderTimeout, t.DisableCompression = 16, time.Minute, true
	return &s3Client{
		http:     &http.Client{Transport: t, CheckRedirect: refuseRedirect},
		keys:     credentials.NewChainCredentials([]credentials.Provider{&credentials.EnvAWS{}, &credentials.FileAWSCredentials{}, &credentials.IAM{}}),
		endpoint: endpoint, bucket: bucket, region: region,
		byPath: byPath || !s3utils.IsVirtualHostSupported(endpoint, bucket),
	}
}

// refuseRedirect: a signature holds for one address only.
func refuseRedirect(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }

// s3Request is what one request asks; without a key it is about the bucket.
type s3Request struct {
	method, key string
	query       url.Values
	header      http.Header
	body        []byte
	limit       int64 // bytes of the answer
}

// do sends a request, again where that may help, and returns the body of the
// answer: errTooLong if it is over the limit, an s3Fault if the store says no.
func (c *s3Client) do(ctx context.Context, r s3Request) ([]byte, error) {
	pauses := retry.WithMaxRetries(s3Retries, retry.WithJitterPercent(50, retry.WithCappedDuration(s3MaxPause, retry.NewExponential(s3Pause))))
	return retry.DoValue(ctx, pauses, func(ctx context.Context) ([]byte, error) {
		data, err := c.once(ctx, r)
		if err != nil && passing(err) {
			err = retry.RetryableError(err)
		}
		return data, err
	})
}

func (c *s3Client) once(ctx context.Context, r s3Request) ([]byte, error) {
	req, err := http.NewRequestWithContext(ctx, r.method, c.address(r).String(), bytes.NewReader(r.body))
	if err != nil {
		return nil, err
	}
	maps.Copy(req.Header, r.header)
	sum := sha256.Sum256(r.body) // signed with the rest: what arrives otherwise is refused
	req.Header.Set("X-Amz-Content-Sha256", hex.EncodeToString(sum[:]))
	keys, err := c.keys.GetWithContext(&credentials.CredContext{Client: c.http, Context: ctx})
	if err != nil {
		return nil, err
	}
	if !keys.SignerType.IsAnonymous() {
		req = signer.SignV4(*req, keys.AccessKeyID, keys.SecretAccessKey, keys.SessionToken, c.signedRegion())
	}
	resp, err := c.http.Do(req)
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close() //nolint:errcheck // it was only read from
	if resp.StatusCode/100 != 2 {
		return nil, faultOf(resp, r)
	}
	data, err := io.ReadAll(io.LimitReader(resp.Body, r.limit+1))
	if err == nil && int64(len(data)) > r.limit {
		err = errTooLong
	}
	return data, err
}

func (c *s3Client) signedRegion() string { return cmp.Or(c.region, "us-east-1") }

// address is where a request goes. Amazon has a host for each region.
func (c *s3Client) address(r s3Request) *url.URL {
	host := c.endpoint.Host
	if s3utils.IsAmazonEndpoint(c.endpoint) && !s3utils.IsAmazonFIPSEndpoint(c.endpoint) && !s3utils.IsAmazonPrivateLinkEndpoint(c.endpoint) {
		host = "s3.dualstack." + c.signedRegion() + ".amazonaws.com"
		if strings.HasPrefix(c.signedRegion(), "cn-") {
			host += ".cn"
		}
	}
	path := "/" + r.key
	if c.byPath {
		path = "/" + c.bucket + path
	} else {
		host = c.bucket + "." + host
	}
	return &url.URL{Scheme: c.endpoint.Scheme, Host: host, Path: path, RawPath: s3utils.EncodePath(path), RawQuery: s3utils.QueryEncode(r.query)}
}

// s3Fault is an answer by which the store says no.
type s3Fault struct {
	Code, Message string
	Region        string // where the bucket lies, if the store says it
	status        int
}

func (f *s3Fault) Error() string {
	return cmp.Or(f.Message, f.Code, fmt.Sprintf("the store answered %d %s", f.status, http.StatusText(f.status)))
}

func faultOf(resp *http.Response, r s3Request) error {
	f := &s3Fault{status: resp.StatusCode}
	if data, err := io.ReadAll(io.LimitReader(resp.Body, maxS3Answer)); err == nil {
		_ = xml.Unmarshal(data, f) // without a body the status has to do
	}
	f.Region = cmp.Or(f.Region, resp.Header.Get("X-Amz-Bucket-Region"))
	if f.Code == "" {
		switch {
		case f.status == http.StatusNotFound && r.key != "":
			f.Code = "NoSuchKey"
		case f.status == http.StatusPreconditionFailed:
			f.Code = "PreconditionFailed"
		}
	}
	return f
}

// passing reports whether the same request may succeed a little later.
func passing(err error) bool {
	if fault, ok := errors.AsType[*s3Fault](err); ok {
		switch fault.status {
		case http.StatusRequestTimeout, http.StatusTooManyRequests:
			return true
		case http.StatusNotImplemented:
			return false
		}
		return fault.status >= 500 || fault.Code == "RequestTimeout"
	}
	return !errors.Is(err, errTooLong) && !errors.Is(err, http.ErrSchemeMismatch) && !errors.As(err, new(*tls.CertificateVerificationError))
}
