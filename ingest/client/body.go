package client

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"net/http"
	"strings"
)

var errTooBig = errors.New("body too big")

// body is an answer in pieces: a growing slice would be copied and would need
// up to three times the space.
type body struct {
	pieces [][]byte
	size   int64
}

func (b *body) reader() io.Reader {
	rs := make([]io.Reader, len(b.pieces))
	for i, p := range b.pieces {
		rs[i] = bytes.NewReader(p)
	}
	return io.MultiReader(rs...)
}

// read takes the whole body, unpacked, up to MaxBody. The cap counts unpacked
// bytes, so that a small packed body cannot swell past it.
func (c *Client) read(hr *http.Response) (*body, error) {
	b := &body{}
	var r io.Reader = hr.Body
	if strings.EqualFold(hr.Header.Get("Content-Encoding"), "gzip") {
		z, err := gzip.NewReader(io.LimitReader(hr.Body, c.o.MaxBody+1))
		if err != nil {
			return b, err
		}
		r = z
	}
	const piece = 256 << 10
	var p []byte
	for {
		if len(p) == cap(p) {
			b.keep(p)
			p = make([]byte, 0, piece)
		}
		n, err := r.Read(p[len(p):cap(p)])
		p = p[:len(p)+n]
		b.size += int64(n)
		if b.size > c.o.MaxBody {
			return &body{size: b.size}, errTooBig
		}
		if err != nil {
			b.keep(p)
			if err == io.EOF {
				err = nil
			}
			return b, err
		}
	}
}

func (b *body) keep(p []byte) {
	if len(p) > 0 {
		b.pieces = append(b.pieces, p)
	}
}
