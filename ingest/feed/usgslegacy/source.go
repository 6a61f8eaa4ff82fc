package usgslegacy

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"slices"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/usgs"
)

// Source reads one saved file named in the config. Now stamps the readings
// with the time at which they were read.
type Source struct {
	Path   string
	Parser Parser
	Now    func() time.Time
}

// Name implements ingest.Source.
func (*Source) Name() string { return FeedName }

// Fetch implements ingest.Source: the part of the file that was asked for. A
// file that speaks of other sites only is an error, because it would look like
// a gauge that has fallen silent.
func (s *Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	f, err := os.Open(s.Path)
	if err != nil {
		if pe, ok := errors.AsType[*fs.PathError](err); ok {
			err = pe.Err
		}
		return bad(s.Path, "cannot be opened", "check file in the config", err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	list, err := s.Parser.Parse(f)
	if err != nil {
		if e, ok := errors.AsType[*ingest.Error](err); ok {
			e.Where = s.Path + ", " + e.Where
			e.Retryable = false // the file will not mend itself
		}
		return err
	}
	site := ""
	if req.Site != "" {
		if site, err = usgs.SiteID(req.Site); err != nil {
			return err
		}
	}
	known := len(list) == 0
	for i := range list {
		x := &list[i]
		if site != "" && x.Site != site {
			continue
		}
		known = true
		if err := ctx.Err(); err != nil {
			return bad(s.Path, "reading was stopped", "", err)
		}
		if x.Period != req.Period || !slices.Contains(req.Variables, x.Variable) {
			continue
		}
		cut := part(x, req.From, req.To)
		if cut.Len() == 0 {
			continue
		}
		cut.Retrieved = make([]int64, cut.Len())
		for j := range cut.Retrieved {
			cut.Retrieved[j] = s.Now().UnixMicro()
		}
		if err := yield(cut); err != nil {
			return err
		}
	}
	if !known {
		return bad(s.Path, "holds no series of site "+site, "check file and site in the config; 'eclose feed check' shows what the file holds", nil)
	}
	return nil
}

// part is the half-open span [from, to) of s; a zero time is open.
func part(s *ingest.Series, from, to time.Time) ingest.Series {
	lo, hi := 0, s.Len()
	for lo < hi && !from.IsZero() && s.Time[lo] < from.UnixMicro() {
		lo++
	}
	for hi > lo && !to.IsZero() && s.Time[hi-1] >= to.UnixMicro() {
		hi--
	}
	out := *s
	out.Time, out.Value, out.Qualifier, out.Approval = s.Time[lo:hi], s.Value[lo:hi], s.Qualifier[lo:hi], s.Approval[lo:hi]
	return out
}
