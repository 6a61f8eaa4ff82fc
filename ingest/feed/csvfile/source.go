package csvfile

import (
	"context"
	"errors"
	"os"
	"slices"
	"time"

	"example.org/eclose/ingest"
)

// Source is a file on disk that its owner goes on writing to.
type Source struct {
	Parser
	Path string
	Now  func() time.Time // nil: time.Now
}

// Fetch implements ingest.Source: the whole file is read each time, and the
// wanted variables and span are handed over.
func (s Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	f, err := os.Open(s.Path)
	if err != nil {
		return bad(s.Path, "cannot be opened", "check file in the config", err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	p := s.Parser
	if req.Site != "" {
		p.Site = req.Site
	}
	series, err := p.Parse(f)
	if err != nil {
		if e, ok := errors.AsType[*ingest.Error](err); ok {
			e.Where = s.Path + ", " + e.Where
		}
		return err
	}
	now := time.Now
	if s.Now != nil {
		now = s.Now
	}
	for _, x := range series {
		if err := ctx.Err(); err != nil {
			return bad(s.Path, "was not read to the end", "", err)
		}
		if len(req.Variables) > 0 && !slices.Contains(req.Variables, x.Variable) {
			continue
		}
		x = x.Between(req.From, req.To)
		if x.Len() == 0 {
			continue
		}
		x.Retrieved = slices.Repeat([]int64{now().UnixMicro()}, x.Len())
		if err := yield(x); err != nil {
			return err
		}
	}
	return nil
}
