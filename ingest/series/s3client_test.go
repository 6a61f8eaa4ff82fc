package series

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"golang.org/x/sync/errgroup"

	"example.org/eclose/ingest/series/seriestest"
)

// A page of a listing has 1,000 names at most, and XML and URLs each have letters
// of their own.
func TestOnS3EveryNameIsListedOnce(t *testing.T) {
	b, err := openBucket(t.Context(), seriestest.S3(t))
	if err != nil {
		t.Fatal(err)
	}
	names := []string{"many/a b.txt", "many/a+b.txt", "many/a%2Bb.txt", "many/ä&<b>.txt", "many/x=1,y='2'.txt"}
	for i := range 1005 {
		names = append(names, fmt.Sprintf("many/%04d.txt", i))
	}
	var writers errgroup.Group
	writers.SetLimit(8)
	for _, name := range names {
		writers.Go(func() error { return b.create(t.Context(), name, []byte(name)) })
	}
	if err := writers.Wait(); err != nil {
		t.Fatal(err)
	}
	if err := b.write(t.Context(), "manyother/a.txt", nil); err != nil {
		t.Fatal(err)
	}
	var listed []string
	if err := b.list(t.Context(), "many", func(o object) error {
		if o.size != int64(len(o.name)) || o.mod.IsZero() {
			t.Errorf("%+v", o)
		}
		listed = append(listed, o.name)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	slices.Sort(names)
	slices.Sort(listed)
	if !slices.Equal(names, listed) {
		t.Errorf("%d names written, %d listed; the first %q", len(names), len(listed), listed[:min(6, len(listed))])
	}
	for _, name := range names[:2] {
		if data, err := b.read(t.Context(), name, 100); err != nil || string(data) != name {
			t.Errorf("%s holds %q, %v", name, data, err)
		}
		if err := b.remove(t.Context(), name); err != nil {
			t.Error(err)
		}
		if _, err := b.read(t.Context(), name, 100); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s was removed: %v", name, err)
		}
	}
	if _, err := b.read(t.Context(), names[9], 3); !errors.Is(err, errTooLong) {
		t.Errorf("an object over the limit: %v", err)
	}
	stop := errors.New("enough")
	if err := b.list(t.Context(), "many", func(object) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("a listing that is given up: %v", err)
	}
}

// script answers for a store: a function for each request, in order.
func script(t *testing.T, answers ...http.HandlerFunc) bucket {
	t.Helper()
	t.Setenv("AWS_ACCESS_KEY_ID", "key")
	t.Setenv("AWS_SECRET_ACCESS_KEY", "secret")
	t.Setenv("AWS_REGION", "")
	n := 0
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if n == len(answers) {
			t.Errorf("one request too many: %s %s", r.Method, r.URL)
			w.WriteHeader(http.StatusNotImplemented)
			return
		}
		n++
		answers[n-1](w, r)
	}))
	t.Cleanup(func() {
		s.Close()
		if n != len(answers) {
			t.Errorf("%d of %d requests came", n, len(answers))
		}
	})
	b, err := openBucket(t.Context(), "s3://store?endpoint="+s.URL)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func says(code int, body string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(code)
		io.WriteString(w, body)
	}
}

const emptyListing = `<ListBucketResult/>`

// The bucket of somebody who named no region may lie in any.
func TestTheStoreSaysInWhichRegionABucketLies(t *testing.T) {
	signedFor := func(region string, then http.HandlerFunc) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) {
			if a := r.Header.Get("Authorization"); !strings.Contains(a, "/"+region+"/s3/aws4_request") {
				t.Errorf("signed as %s, not for %s", a, region)
			}
			then(w, r)
		}
	}
	b := script(t,
		signedFor("us-east-1", says(400, `<Error><Code>AuthorizationHeaderMalformed</Code><Message>the region is wrong</Message><Region>eu-west-3</Region></Error>`)),
		signedFor("eu-west-3", says(200, emptyListing)),
		signedFor("eu-west-3", says(200, "abc")))
	if data, err := b.read(t.Context(), "x", 10); err != nil || string(data) != "abc" {
		t.Errorf("%q, %v", data, err)
	}
}

func TestWhatMayPassIsAskedAgain(t *testing.T) {
	hangUp := func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Length", "10")
		w.Write([]byte("half"))
	}
	var bodies [][]byte
	keep := func(then http.HandlerFunc) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) {
			data, _ := io.ReadAll(r.Body) // what is missing is seen below
			bodies = append(bodies, data)
			then(w, r)
		}
	}
	b := script(t, says(200, emptyListing),
		hangUp, says(503, `<Error><Code>SlowDown</Code></Error>`), says(200, "whole"),
		keep(says(400, `<Error><Code>RequestTimeout</Code></Error>`)), keep(says(200, "")),
		says(403, `<Error><Code>AccessDenied</Code><Message>Access Denied.</Message></Error>`),
		says(404, ""), says(409, `<Error><Code>ConditionalRequestConflict</Code></Error>`))
	if data, err := b.read(t.Context(), "x", 10); err != nil || string(data) != "whole" {
		t.Errorf("%q, %v", data, err)
	}
	if err := b.write(t.Context(), "x", []byte("body")); err != nil || len(bodies) != 2 || !bytes.Equal(bodies[0], bodies[1]) || string(bodies[1]) != "body" {
		t.Errorf("%q, %v", bodies, err)
	}
	if _, err := b.read(t.Context(), "x", 10); err == nil || !strings.Contains(err.Error(), "Access Denied.") {
		t.Errorf("a refusal is asked again or not said: %v", err)
	}
	if _, err := b.read(t.Context(), "x", 10); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a 404 without a reason: %v", err)
	}
	if err := b.create(t.Context(), "x", nil); !errors.Is(err, fs.ErrExist) {
		t.Errorf("two at one moment: %v", err)
	}
}

// A listing that ends in the middle would lose readings from sight.
func TestAListingGoesOnOrFails(t *testing.T) {
	b := script(t, says(200, emptyListing),
		says(200, `<ListBucketResult><IsTruncated>true</IsTruncated><NextContinuationToken>a b</NextContinuationToken><Contents><Key>f/1</Key></Contents></ListBucketResult>`),
		func(w http.ResponseWriter, r *http.Request) {
			if q := r.URL.Query(); q.Get("continuation-token") != "a b" || q.Get("prefix") != "f/" {
				t.Errorf("%s", r.URL)
			}
			says(200, `<ListBucketResult><IsTruncated>true</IsTruncated><Contents><Key>f/2</Key></Contents></ListBucketResult>`)(w, r)
		})
	var names []string
	err := b.list(t.Context(), "f", func(o object) error { names = append(names, o.name); return nil })
	if err == nil || !slices.Equal(names, []string{"f/1", "f/2"}) {
		t.Errorf("%v, %v", names, err)
	}
	b = script(t, says(200, emptyListing), says(200, `<html></html>`))
	if err := b.list(t.Context(), "f", func(object) error { return nil }); err == nil {
		t.Error("a web page is taken as an empty listing")
	}
}

func TestAmazonHasAHostForEachRegion(t *testing.T) {
	for _, c := range []struct{ url, region, want string }{
		{"https://s3.amazonaws.com", "eu-west-1", "https://store.s3.dualstack.eu-west-1.amazonaws.com/a%20b"},
		{"https://s3.amazonaws.com", "", "https://store.s3.dualstack.us-east-1.amazonaws.com/a%20b"},
		{"https://s3.cn-north-1.amazonaws.com.cn", "cn-north-1", "https://store.s3.dualstack.cn-north-1.amazonaws.com.cn/a%20b"},
		{"https://storage.googleapis.com", "auto", "https://store.storage.googleapis.com/a%20b"},
		{"http://127.0.0.1:9000", "", "http://127.0.0.1:9000/store/a%20b"},
	} {
		u := mustURL(t, c.url)
		if got := newS3Client(*u, "store", c.region, false).address(s3Request{key: "a b"}).String(); got != c.want {
			t.Errorf("%s in %q: %s", c.url, c.region, got)
		}
	}
	u := mustURL(t, "https://s3.amazonaws.com")
	if got := newS3Client(*u, "st.ore", "", false).address(s3Request{}).String(); got != "https://s3.dualstack.us-east-1.amazonaws.com/st.ore/" {
		t.Errorf("a dot does not fit the certificate: %s", got)
	}
}

func mustURL(t *testing.T, text string) *url.URL {
	t.Helper()
	u, err := url.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return u
}
