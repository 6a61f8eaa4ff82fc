package feed

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"slices"
	"time"

	"example.org/eclose/ingest"
)

// Saved is one saved answer of any feed, read anew at each fetch: its owner may
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
	for _, x := range list {
		if req.Site != "" && x.Site != req.Site {
			continue
		}
		known = true
		if err := ctx.Err(); err != nil {
			return fault("was not read to the end", "", err)
		}
		if (x.Period == ingest.Daily) != (req.Period == ingest.Daily) || !slices.Contains(req.Variables, x.Variable) {
			continue
		}
		if x = x.Between(req.From, req.To); x.Len() == 0 {
			continue
		}
		x.Retrieved = slices.Repeat([]int64{s.Now().UnixMicro()}, x.Len())
		if err := yield(x); err != nil {
			return err
		}
	}
	if !known {
		return fault("holds no series of site "+req.Site, "check file and site in the config; 'eclose feed check' shows what the file holds", nil)
	}
	return nil
}
