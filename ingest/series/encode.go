package series

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"slices"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/apache/arrow/go/v15/parquet/schema"

	"example.org/eclose/ingest"
)

// rowGroupRows is the longest row group: long enough that its fixed cost is
// small, short enough that one member of an ensemble is found without reading all.
const rowGroupRows = 65536

// The columns of a file in order; member comes first in a file of an ensemble.
var columnNames = []string{"time", "value", "qualifier", "approval", "flag", "flag_test", "retrieved"}

const memberName = "member"

func fileSchema(ensemble bool) (*schema.GroupNode, error) {
	stamp := schema.NewTimestampLogicalType(true, schema.TimeUnitMicros)
	var fields schema.FieldList
	add := func(name string, rep parquet.Repetition, logical schema.LogicalType, physical parquet.Type) error {
		node, err := schema.NewPrimitiveNodeLogical(name, rep, logical, physical, -1, -1)
		if err == nil {
			fields = append(fields, node)
		}
		return err
	}
	if ensemble {
		if err := add(memberName, parquet.Repetitions.Required, nil, parquet.Types.Int32); err != nil {
			return nil, err
		}
	}
	for _, c := range []struct {
		name     string
		rep      parquet.Repetition
		logical  schema.LogicalType
		physical parquet.Type
	}{
		{"time", parquet.Repetitions.Required, stamp, parquet.Types.Int64},
		{"value", parquet.Repetitions.Optional, nil, parquet.Types.Double},
		{"qualifier", parquet.Repetitions.Required, schema.StringLogicalType{}, parquet.Types.ByteArray},
		{"approval", parquet.Repetitions.Required, nil, parquet.Types.Int32},
		{"flag", parquet.Repetitions.Required, nil, parquet.Types.Int32},
		{"flag_test", parquet.Repetitions.Required, schema.StringLogicalType{}, parquet.Types.ByteArray},
		{"retrieved", parquet.Repetitions.Required, stamp, parquet.Types.Int64},
	} {
		if err := add(c.name, c.rep, c.logical, c.physical); err != nil {
			return nil, err
		}
	}
	return schema.NewGroupNode("reading", parquet.Repetitions.Required, fields, -1)
}

// writerProps is what the metadata says of the columns; pages.go makes them so. Columns
// of which a dictionary leaves nothing are not compressed.
var writerProps = parquet.NewWriterProperties(
	parquet.WithVersion(parquet.V2_LATEST),
	parquet.WithCreatedBy("eclose"),
	parquet.WithCompression(compress.Codecs.Uncompressed),
	parquet.WithCompressionFor("time", compress.Codecs.Zstd),
	parquet.WithCompressionFor("value", compress.Codecs.Zstd),
	parquet.WithCompressionFor("retrieved", compress.Codecs.Zstd),
	parquet.WithEncodingFor("time", parquet.Encodings.DeltaBinaryPacked),
	parquet.WithEncodingFor("retrieved", parquet.Encodings.DeltaBinaryPacked),
)

// dictionaryLevel is how hard the library compresses the dictionary of values, the one
// page that it compresses itself: by the lowest level, which sets up the smallest of the
// compressors that it makes anew each time.
const dictionaryLevel = 1

// encode writes a table with all columns as one Parquet file.
func encode(s bundle, place ingest.SiteInfo, t *table) ([]byte, error) {
	var buf bytes.Buffer
	w, err := newFileWriter(&buf, s, s.key(0).String(), place)
	if err == nil {
		err = w.add(t)
	}
	if err == nil {
		err = w.close()
	}
	return buf.Bytes(), err
}

const parquetMagic = "PAR1"

// fileWriter writes one Parquet file table by table. Pages are made in pages.go; their
// headers and the metadata are the library's. What it throws becomes an error.
type fileWriter struct {
	out      *positioned
	meta     *metadata.FileMetaDataBuilder
	pager    file.PageWriter
	groups   int16
	name     string
	ensemble bool
}

// positioned counts the bytes that are written.
type positioned struct {
	io.Writer
	at int64
}

func (p *positioned) Tell() int64 { return p.at }

func (p *positioned) Write(b []byte) (int, error) {
	n, err := p.Writer.Write(b)
	p.at += int64(n)
	return n, err
}

func newFileWriter(out io.Writer, s bundle, name string, place ingest.SiteInfo) (fw *fileWriter, err error) {
	fw = &fileWriter{out: &positioned{Writer: out}, name: name, ensemble: s.Ensemble}
	defer fw.guard(&err)
	root, err := fileSchema(s.Ensemble)
	if err != nil {
		return nil, err
	}
	var meta metadata.KeyValueMetadata
	for _, kv := range [][2]string{
		{"series", name}, {"unit", s.Variable.Unit()}, {"time", "UTC"}, {"place", place.Name}, {"zone", place.Zone},
	} {
		if kv[1] == "" {
			continue
		}
		if err := meta.Append(kv[0], kv[1]); err != nil {
			return nil, err
		}
	}
	fw.meta = metadata.NewFileMetadataBuilder(schema.NewSchema(root), writerProps, meta)
	_, err = io.WriteString(fw.out, parquetMagic)
	return fw, err
}

// guard turns a panic of the library into an error.
func (fw *fileWriter) guard(err *error) {
	if r := recover(); r != nil {
		*err = fmt.Errorf("the encoder gave up: %v", r)
	}
	if *err != nil {
		*err = fmt.Errorf("encoding %s: %w", fw.name, *err)
	}
}

func (fw *fileWriter) add(t *table) (err error) {
	defer fw.guard(&err)
	p := pagePool.Get().(*pages)
	defer pagePool.Put(p)
	for a := 0; a < t.len(); a += rowGroupRows {
		group := t.slice(a, min(a+rowGroupRows, t.len()))
		if err := fw.group(p, &group); err != nil {
			return err
		}
	}
	return nil
}

func (fw *fileWriter) close() (err error) {
	defer fw.guard(&err)
	meta, err := fw.meta.Finish()
	if err != nil {
		return err
	}
	n, err := meta.WriteTo(fw.out, nil)
	if err != nil {
		return err
	}
	_, err = fw.out.Write(append(binary.LittleEndian.AppendUint32(nil, uint32(n)), parquetMagic...))
	return err
}

// group writes one row group.
func (fw *fileWriter) group(p *pages, t *table) error {
	start, g := fw.out.at, fw.meta.AppendRowGroup()
	columns := []func() page{
		func() page { return p.bounded(t.time) }, func() page { return p.values(t.value) },
		func() page { return p.texts(t.qualifier) }, func() page { return small(p, t.approval) },
		func() page { return small(p, t.flag) }, func() page { return p.texts(t.test) },
		func() page { return p.stamps(t.retrieved) },
	}
	if fw.ensemble {
		columns = slices.Insert(columns, 0, func() page { return small(p, t.member) })
	}
	for _, next := range columns {
		col := next() // its bytes last until the next page is made
		if err := fw.column(g, p, &col, t.len()); err != nil {
			return err
		}
	}
	g.SetNumRows(t.len())
	fw.groups++
	return g.Finish(fw.out.at-start, fw.groups-1)
}

// column writes one column of a row group: a dictionary if there is one, and one page.
func (fw *fileWriter) column(g *metadata.RowGroupMetaDataBuilder, p *pages, col *page, rows int) (err error) {
	c := g.NextColumnChunk()
	codec, at := writerProps.CompressionFor(c.Descr().Path()), int16(g.CurrentColumn())
	if fw.pager == nil {
		fw.pager, err = file.NewPageWriter(fw.out, codec, dictionaryLevel, c, fw.groups, at, memory.DefaultAllocator, false, nil, nil)
	} else {
		err = fw.pager.Reset(fw.out, codec, dictionaryLevel, c, fw.groups, at, nil, nil)
	}
	if err != nil {
		return err
	}
	coded := col.encoding == parquet.Encodings.RLEDict
	if coded {
		d := file.NewDictionaryPage(memory.NewBufferBytes(col.dictionary), int32(col.entries), parquet.Encodings.Plain)
		if _, err := fw.pager.WriteDictionaryPage(d); err != nil {
			return err
		}
	}
	if col.stats.IsSet() {
		c.SetStats(col.stats)
	}
	data := col.data
	if codec == compress.Codecs.Zstd {
		p.packed = packer().EncodeAll(data, p.packed[:0])
		data = p.packed
	}
	d := file.NewDataPageV1(memory.NewBufferBytes(data), int32(rows), col.encoding, parquet.Encodings.RLE, parquet.Encodings.RLE, int32(len(col.data)))
	if _, err := fw.pager.WriteDataPage(d); err != nil {
		return err
	}
	return fw.pager.Close(coded, false)
}
