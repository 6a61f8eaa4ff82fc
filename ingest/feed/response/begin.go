package response

import (
	"bufio"
	"errors"
	"io"
)

const byteOrderMark = "\xef\xbb\xbf"

// Text returns r without a UTF-8 byte-order mark.
func Text(r io.Reader) *bufio.Reader {
	br := bufio.NewReaderSize(r, 64<<10)
	if b, _ := br.Peek(len(byteOrderMark)); string(b) == byteOrderMark {
		_, _ = br.Discard(len(byteOrderMark)) // it was peeked
	}
	return br
}

// Begin returns r without byte-order mark and leading white space, and the
// first byte that follows. An empty response is a fault, and so is a response
// that begins with "<": a web page where JSON or CSV was asked for.
func (f Feed) Begin(r io.Reader) (*bufio.Reader, byte, error) {
	br, first, err := f.begin(r)
	if err == nil && first == '<' {
		err = f.Fault("response", "is a web page or XML, not data", "the service may be down; open the URL in a browser", nil)
	}
	if err != nil {
		return nil, 0, err
	}
	return br, first, nil
}

func (f Feed) begin(r io.Reader) (*bufio.Reader, byte, error) {
	br := Text(r)
	for {
		b, err := br.ReadByte()
		switch {
		case errors.Is(err, io.EOF):
			return nil, 0, f.Fault("response", "is empty", "try again; if still empty, open the URL in a browser", nil)
		case err != nil:
			return nil, 0, f.Fault("response", "could not be read", "fetch it again", err)
		case b != ' ' && b != '\n' && b != '\r' && b != '\t':
			return br, b, br.UnreadByte()
		}
	}
}
