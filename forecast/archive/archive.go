package archive

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/klauspost/compress/zstd"

	"example.org/eclose/forecast"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
)

// ErrNotFound is wrapped where no such outlook was issued.
var ErrNotFound = db.ErrNotFound

// ErrChanged is wrapped where other content is offered under the keys of an
// outlook that was issued.
var ErrChanged = db.ErrChanged

// Archive keeps outlooks in a database and its files. It may be used by several
// goroutines and processes.
type Archive struct {
	db    *db.DB
	files *series.Files
}

// New returns an archive; both must stay open as long as it is used.
func New(d *db.DB, f *series.Files) *Archive { return &Archive{d, f} }

// Stored is an outlook whose file is written and whose row is not yet.
type Stored struct {
	row  db.Outlook
	size int64
}

// What is read back is bounded: an outlook of 80 stages over two years has some
// 10 MB as JSON, as older files hold it, and a hundredth of that as a file of now.
const (
	maxFile    = 64 << 20
	maxContent = 512 << 20
)

// zipped reads files of versions that kept outlooks as JSON, packed by zstd.
var zipped, _ = zstd.NewReader(nil, zstd.WithDecoderMaxMemory(maxContent), zstd.WithDecoderConcurrency(0)) // no option of these can fail

// Put writes the file of an outlook. It is issued only when Record has been
// committed.
func (a *Archive) Put(ctx context.Context, o *forecast.Outlook) (Stored, error) {
	content, err := unpacked(o)
	if err != nil {
		return Stored{}, fmt.Errorf("keeping the outlook of %s: %w", o.River, err)
	}
	head, err := json.Marshal(headOf(o))
	if err != nil {
		return Stored{}, fmt.Errorf("keeping the outlook of %s: %w", o.River, err)
	}
	sum := sha256.Sum256(content)
	s := Stored{row: db.Outlook{
		River: o.River, Issued: o.IssuedAt, ModelVersion: o.ModelVersion, CutOff: o.DataCutoff,
		SHA256: hex.EncodeToString(sum[:]), Body: string(head),
	}}
	s.row.Artefact = name(o, s.row.SHA256)
	packed, err := pack(content)
	if err != nil {
		return Stored{}, fmt.Errorf("keeping the outlook of %s: %w", o.River, err)
	}
	s.size = int64(len(packed))
	if err := a.files.Write(ctx, s.row.Artefact, packed); err != nil {
		return Stored{}, fmt.Errorf("keeping the outlook of %s: %w", o.River, err)
	}
	return s, nil
}

// name is decided by the keys, and by the content: of two workers that issue
// the same outlook from different data at once, only one gets its row, and the
// other must not have written over the file that the row names.
func name(o *forecast.Outlook, sum string) string {
	at := o.IssuedAt.UTC()
	return fmt.Sprintf("outlooks/%s/%s/%s.m%s.%s.outlook.gz", o.River, at.Format("2006"), at.Format("20060102T150405.000000Z"), o.ModelVersion, sum[:16])
}

// Record issues a stored outlook in the transaction that q runs in. Recording
// the same again does nothing; other content under the same keys is ErrChanged.
func (a *Archive) Record(ctx context.Context, q db.Querier, s Stored, made time.Time) error {
	if err := db.AddOutlook(ctx, q, s.row); err != nil {
		return err
	}
	return db.PutArtefact(ctx, q, db.Artefact{Name: s.row.Artefact, SHA256: s.row.SHA256, Bytes: s.size, Made: made})
}

// Save is Put and Record.
func (a *Archive) Save(ctx context.Context, o *forecast.Outlook, made time.Time) error {
	s, err := a.Put(ctx, o)
	if err != nil {
		return err
	}
	return a.db.Tx(ctx, func(tx *db.Tx) error { return a.Record(ctx, tx, s, made) })
}

// File names the file of an issued outlook, for Open.
type File struct{ Name, SHA256 string }

// Find names the file of an outlook by its keys.
func (a *Archive) Find(ctx context.Context, river string, issued time.Time, modelVersion string) (File, error) {
	row, err := db.GetOutlook(ctx, a.db.SQL, river, issued, modelVersion)
	return File{row.Artefact, row.SHA256}, err
}

// Issued says whether an outlook with these keys was issued.
func (a *Archive) Issued(ctx context.Context, river string, issued time.Time, modelVersion string) (bool, error) {
	_, err := db.GetOutlook(ctx, a.db.SQL, river, issued, modelVersion)
	if errors.Is(err, db.ErrNotFound) {
		return false, nil
	}
	return err == nil, err
}

// Load returns an outlook by its keys.
func (a *Archive) Load(ctx context.Context, river string, issued time.Time, modelVersion string) (*forecast.Outlook, error) {
	row, err := db.GetOutlook(ctx, a.db.SQL, river, issued, modelVersion)
	if err != nil {
		return nil, err
	}
	return a.open(ctx, row)
}

// Latest returns the newest outlook of a river issued by asOf.
func (a *Archive) Latest(ctx context.Context, river string, asOf time.Time) (*forecast.Outlook, error) {
	row, err := db.LatestOutlook(ctx, a.db.SQL, river, asOf)
	if err != nil {
		return nil, err
	}
	return a.open(ctx, row)
}

func (a *Archive) open(ctx context.Context, row db.Outlook) (*forecast.Outlook, error) {
	o, err := a.Open(ctx, File{row.Artefact, row.SHA256})
	if err != nil {
		return nil, fmt.Errorf("reading the outlook of %s issued %s: %w", row.River, row.Issued.Format(time.RFC3339), err)
	}
	return o, nil
}

// Open reads an outlook without the database.
func (a *Archive) Open(ctx context.Context, f File) (*forecast.Outlook, error) {
	packed, err := a.files.Read(ctx, f.Name, maxFile)
	if err != nil {
		return nil, err
	}
	content, decode, err := contentOf(f.Name, packed)
	if err != nil {
		return nil, fmt.Errorf("%s is damaged: %w; restore it from a backup", f.Name, err)
	}
	if sum := sha256.Sum256(content); hex.EncodeToString(sum[:]) != f.SHA256 {
		return nil, fmt.Errorf("%s is damaged: its checksum is not the recorded one; restore it from a backup", f.Name)
	}
	o, err := decode(content)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", f.Name, err)
	}
	return o, nil
}

// formerKeys are the keys under which files of before the first release keep some
// values. Within a text of JSON a quotation mark is escaped, so they match keys only.
var formerKeys = strings.NewReplacer(`"drivers":`, `"weather_source":`, `"normal_c":`, `"climatology_c":`, `"normal_c_days":`, `"climatology_c_days":`)

func renamed(text []byte) []byte { return []byte(formerKeys.Replace(string(text))) }

// contentOf unpacks a file of this version or of one that kept JSON, and says
// how its content is read.
func contentOf(name string, packed []byte) ([]byte, func([]byte) (*forecast.Outlook, error), error) {
	if strings.HasSuffix(name, ".json.zst") {
		content, err := zipped.DecodeAll(packed, nil)
		return content, func(text []byte) (*forecast.Outlook, error) {
			o := new(forecast.Outlook)
			return o, json.Unmarshal(renamed(text), o)
		}, err
	}
	content, err := unpack(packed)
	return content, outlookOf, err
}
