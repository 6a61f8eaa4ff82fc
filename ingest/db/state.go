package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"example.org/eclose/ingest/db/internal/sqlc"
)

// ErrNotFound is wrapped where a row that was asked for does not exist.
var ErrNotFound = errors.New("not found")

// ErrChanged is wrapped where a row that must never change was offered again
// with other content.
var ErrChanged = errors.New("already recorded with different content")

// FeedState is what we know of one thing that we fetch.
type FeedState struct {
	Feed, Item   string // the feed's name; the gauge, file or request
	ETag         string
	LastModified string    // as the server wrote it
	Tried        time.Time // last attempt
	Answered     time.Time // last whole answer
	Newest       time.Time // newest reading we hold: the freshness
	Failures     int       // in a row
	LastError    string
}

// PutFeedState records s, replacing what was known.
func PutFeedState(ctx context.Context, q Querier, s FeedState) error {
	err := sqlc.New(q).PutFeedState(ctx, sqlc.PutFeedStateParams{
		Feed: s.Feed, Item: s.Item, Etag: s.ETag, LastModified: s.LastModified, TriedAt: Micros(s.Tried),
		AnsweredAt: Micros(s.Answered), NewestAt: Micros(s.Newest), Failures: int64(s.Failures), LastError: s.LastError,
	})
	return doing(err, "recording the state of %s %s", s.Feed, s.Item)
}

// GetFeedState returns what is known of item; ErrNotFound if it was never tried.
func GetFeedState(ctx context.Context, q Querier, feed, item string) (FeedState, error) {
	r, err := sqlc.New(q).FeedState(ctx, sqlc.FeedStateParams{Feed: feed, Item: item})
	return feedState(r), doing(err, "reading the state of %s %s", feed, item)
}

// FeedStates lists all items in order of feed and item.
func FeedStates(ctx context.Context, q Querier) ([]FeedState, error) {
	r, err := sqlc.New(q).FeedStates(ctx)
	return each(r, feedState), doing(err, "listing the state of the feeds")
}

func feedState(r sqlc.FeedState) FeedState {
	return FeedState{
		Feed: r.Feed, Item: r.Item, ETag: r.Etag, LastModified: r.LastModified, Tried: Time(r.TriedAt),
		Answered: Time(r.AnsweredAt), Newest: Time(r.NewestAt), Failures: int(r.Failures), LastError: r.LastError,
	}
}

// Artefact is a file whose name is decided by its keys.
type Artefact struct {
	Name   string
	SHA256 string // hex
	Bytes  int64
	Made   time.Time
}

// PutArtefact records that the file exists, in the transaction that also
// inserts the follow-up job.
func PutArtefact(ctx context.Context, q Querier, a Artefact) error {
	err := sqlc.New(q).PutArtefact(ctx, sqlc.PutArtefactParams{Name: a.Name, Sha256: a.SHA256, Bytes: a.Bytes, MadeAt: Micros(a.Made)})
	return doing(err, "recording the artefact %s", a.Name)
}

// Outlook is the index row of one issued outlook. It never changes.
type Outlook struct {
	River        string
	Issued       time.Time
	ModelVersion string
	CutOff       time.Time // nothing learnt after this was used
	Artefact     string    // file that holds the whole of it
	SHA256       string    // of that file
	Body         string    // what a list needs without opening the file, as JSON
}

// AddOutlook adds a row. Adding the same again does nothing; other content
// under the same keys is ErrChanged.
func AddOutlook(ctx context.Context, q Querier, o Outlook) error {
	what := fmt.Sprintf("recording the outlook of %s issued %s", o.River, o.Issued.UTC().Format(time.RFC3339))
	n, err := sqlc.New(q).AddOutlook(ctx, sqlc.AddOutlookParams{
		River: o.River, IssuedAt: Micros(o.Issued), ModelVersion: o.ModelVersion, CutoffAt: Micros(o.CutOff),
		Artefact: o.Artefact, Sha256: o.SHA256, Body: o.Body,
	})
	if err != nil || n == 1 {
		return doing(err, "%s", what)
	}
	old, err := GetOutlook(ctx, q, o.River, o.Issued, o.ModelVersion)
	if err != nil {
		return err
	}
	if old.SHA256 != o.SHA256 { // the body follows from the content
		return fmt.Errorf("%s: %w (%s then, %s now)", what, ErrChanged, old.SHA256, o.SHA256)
	}
	return nil
}

// GetOutlook returns one outlook by its keys.
func GetOutlook(ctx context.Context, q Querier, river string, issued time.Time, modelVersion string) (Outlook, error) {
	r, err := sqlc.New(q).Outlook(ctx, sqlc.OutlookParams{River: river, IssuedAt: Micros(issued), ModelVersion: modelVersion})
	return outlook(r), doing(err, "reading the outlook of %s issued %s", river, issued.UTC().Format(time.RFC3339))
}

// LatestOutlook returns the newest outlook issued by asOf, without its body: a server
// asks for it every few seconds.
func LatestOutlook(ctx context.Context, q Querier, river string, asOf time.Time) (Outlook, error) {
	r, err := sqlc.New(q).LatestOutlook(ctx, sqlc.LatestOutlookParams{River: river, AsOf: Micros(asOf)})
	return outlook(sqlc.Outlook{River: r.River, IssuedAt: r.IssuedAt, ModelVersion: r.ModelVersion, CutoffAt: r.CutoffAt, Artefact: r.Artefact, Sha256: r.Sha256}),
		doing(err, "reading the latest outlook of %s", river)
}

// Outlooks lists those of a river issued in [from, to), oldest first.
func Outlooks(ctx context.Context, q Querier, river string, from, to time.Time) ([]Outlook, error) {
	r, err := sqlc.New(q).Outlooks(ctx, sqlc.OutlooksParams{River: river, FromAt: Micros(from), ToAt: Micros(to)})
	return each(r, outlook), doing(err, "listing the outlooks of %s", river)
}

func outlook(r sqlc.Outlook) Outlook {
	return Outlook{
		River: r.River, Issued: Time(r.IssuedAt), ModelVersion: r.ModelVersion, CutOff: Time(r.CutoffAt),
		Artefact: r.Artefact, SHA256: r.Sha256, Body: r.Body,
	}
}

// doing says what was being done when err happened.
func doing(err error, format string, args ...any) error {
	if err == nil {
		return nil
	}
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNotFound
	}
	return fmt.Errorf(format+": %w", append(args, err)...)
}

func each[A, B any](in []A, f func(A) B) []B {
	out := make([]B, len(in))
	for i, a := range in {
		out[i] = f(a)
	}
	return out
}
