package main

import (
	"bufio"
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"maps"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
)

// agencies stand in for the public services behind a proxy that speaks TLS, so that a
// command of the documents asks the true hosts. It returns the proxy's address and the
// file of the authority that signed for it.
func agencies(t *testing.T) (proxy, ca string) {
	t.Helper()
	p := theProxy()
	ca = filepath.Join(t.TempDir(), "ca.pem")
	if err := os.WriteFile(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: p.authority.Raw}), 0o600); err != nil {
		t.Fatal(err)
	}
	return p.url, ca
}

// tlsProxy answers a CONNECT itself.
type tlsProxy struct {
	url       string
	authority *x509.Certificate
	key       *ecdsa.PrivateKey
	answer    http.Handler
}

var theProxy = sync.OnceValue(func() *tlsProxy {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		panic(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "invented agencies"}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign, NotBefore: demo.Issue.AddDate(-1, 0, 0), NotAfter: time.Now().AddDate(9, 0, 0)}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		panic(err)
	}
	p := &tlsProxy{key: key, answer: moved(demo.NewWorld().Handler())}
	if p.authority, err = x509.ParseCertificate(der); err != nil {
		panic(err)
	}
	p.url = httptest.NewServer(p).URL
	return p
})

func (p *tlsProxy) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodConnect {
		http.Error(w, "only CONNECT", http.StatusMethodNotAllowed)
		return
	}
	host, _, err := net.SplitHostPort(r.Host)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	leaf := &x509.Certificate{SerialNumber: big.NewInt(2), DNSNames: []string{host}, NotBefore: p.authority.NotBefore, NotAfter: p.authority.NotAfter}
	der, err := x509.CreateCertificate(rand.Reader, leaf, p.authority, &p.key.PublicKey, p.key)
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	conn, _, err := w.(http.Hijacker).Hijack()
	if err != nil {
		return
	}
	defer conn.Close()
	if _, err := conn.Write([]byte("HTTP/1.1 200 OK\r\n\r\n")); err != nil {
		return
	}
	inside := tls.Server(conn, &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: p.key}}, MinVersion: tls.VersionTLS12})
	read := bufio.NewReader(inside)
	for {
		req, err := http.ReadRequest(read)
		if err != nil {
			return
		}
		rec := httptest.NewRecorder()
		p.answer.ServeHTTP(rec, req)
		res := rec.Result()
		res.ContentLength = int64(rec.Body.Len())
		if res.Write(inside) != nil {
			return
		}
	}
}

// The documents name a real place and a real gauge, because their readers fish real
// rivers. Here an invented river answers in their place.
const (
	shownLat, shownLon   = 44.73, -121.25
	shownSite            = "14092500"
	shownName            = "DESCHUTES RIVER NEAR MADRAS, OR"
	inventedSite         = "99000002"
	inventedName         = "GARROW at the invented bridge (demo)"
	inventedLat, movedBy = 44.6, -9.85 // the invented river lies so many degrees from the place shown
)

// moved answers for the place shown with the readings of an invented river.
func moved(world http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/statistics/v0/observationNormals" { // which the Tarn Fells have not
			w.Header().Set("Content-Type", "application/json")
			fmt.Fprint(w, longTerm)
			return
		}
		if r.URL.Path == "/flood-monitoring/id/floods" { // nor the English agency's warnings
			w.Header().Set("Content-Type", "application/json")
			fmt.Fprint(w, `{"items":[]}`)
			return
		}
		q := r.URL.Query()
		for _, key := range []string{"latitude", "longitude"} {
			if v, err := strconv.ParseFloat(q.Get(key), 64); err == nil {
				q.Set(key, fmt.Sprint(v+shift(key == "latitude")))
			}
		}
		if box := strings.Split(q.Get("bbox"), ","); len(box) == 4 {
			for i := range box {
				if v, err := strconv.ParseFloat(box[i], 64); err == nil {
					box[i] = fmt.Sprint(v + shift(i%2 == 1))
				}
			}
			q.Set("bbox", strings.Join(box, ","))
		}
		r.URL.RawQuery = strings.ReplaceAll(q.Encode(), shownSite, inventedSite)
		r.URL.Path = strings.ReplaceAll(r.URL.Path, shownSite, inventedSite)
		rec := httptest.NewRecorder()
		world.ServeHTTP(rec, r)
		body := bytes.ReplaceAll(rec.Body.Bytes(), []byte(inventedSite), []byte(shownSite))
		body = bytes.ReplaceAll(body, []byte(inventedName), []byte(shownName))
		body = bytes.ReplaceAll(body, fmt.Appendf(nil, "[%g,%g]", shownLon+movedBy, inventedLat), fmt.Appendf(nil, "[%g,%g]", shownLon, shownLat))
		body = bytes.ReplaceAll(body, []byte("http://"+r.Host), []byte("https://"+r.Host))
		maps.Copy(w.Header(), rec.Header())
		w.WriteHeader(rec.Code)
		_, _ = w.Write(body)
	})
}

func shift(lat bool) float64 {
	if lat {
		return inventedLat - shownLat
	}
	return movedBy
}

// longTerm is a statistic of one date, in the format of the USGS statistics API.
const longTerm = `{"features":[{"type":"Feature","geometry":null,"properties":{"monitoring_location_id":"USGS-` + shownSite + `","data":[` +
	`{"parameter_code":"00010","parent_statistic_id":"00003","parent_time_series_id":"a","unit_of_measure":"degC","values":[` +
	`{"computation":"median","sample_count":12,"time_of_year":"05-18","time_of_year_type":"day_of_year","value":"11"},` +
	`{"computation":"percentile","sample_count":12,"time_of_year":"05-18","time_of_year_type":"day_of_year","percentiles":["10","90"],"values":["9.5","12.5"]}]}]}}],"next":null}`
