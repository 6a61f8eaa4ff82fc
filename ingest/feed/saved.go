package feed

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/response"
)

// Saved is a file: a saved response of any feed, or a table of the user's own, read anew at each fetch: its owner may
// go on replacing it.
type Saved struct {
	ingest.Parser
	Path string
	Now  func() time.Time
}

// Fetch implements ingest.Source: the part of the file that was asked for. A
// file that speaks of other sites only is an error, because it would look like
// a gauge that has fallen silent.
func (s Saved) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	fault := func(problem, hint string, err error) error {
		return &ingest.Error{Feed: s.Name(), Where: s.Path, Problem: problem, Hint: hint, Err: err}
	}
	f, err := os.Open(s.Path)
	if err != nil {
		if pe, ok := errors.AsType[*fs.PathError](err); ok {
			err = pe.Err
		}
		return fault("cannot be opened", "check file in the config", err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	list, err := s.Parse(f)
	if err != nil {
		if e, ok := errors.AsType[*ingest.Error](err); ok {
			e.Where = s.Path + ", " + e.Where
			e.Retryable = false // the file will not mend itself
		}
		return err
	}
	known := len(list) == 0 || req.Site == ""
	var mine []ingest.Series
	for _, x := range list {
		if req.Site == "" || x.Site == req.Site {
			known, mine = true, append(mine, x)
		}
	}
	if err := ctx.Err(); err != nil {
		return fault("was not read to the end", "", err)
	}
	if !known {
		return fault("holds no series of site "+req.Site, "check file and site in the config; 'eclose feed check' shows what the file holds", nil)
	}
	return response.Deliver(mine, req, s.Now(), yield)
}
