package series

import (
	"bytes"
	"fmt"
	"io"
	"math"

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

// writerProps: time and retrieval are delta-encoded, everything else goes through a
// dictionary, because a sensor reports few distinct values and the rest hardly
// changes. Texts keep their dictionary: Arrow v15 reads a damaged page of delta-encoded
// lengths for ever. Only time carries minima and maxima, for readers that skip by it.
// Columns which a dictionary leaves nothing of are not compressed, because this
// version of the library sets up a new compressor for every page. The lowest
// level sets up a much smaller one; the columns are small enough that it costs
// few bytes (see RESULTS.md).
var writerProps = parquet.NewWriterProperties(
	parquet.WithVersion(parquet.V2_LATEST),
	parquet.WithCreatedBy("eclose"),
	parquet.WithCompression(compress.Codecs.Uncompressed),
	parquet.WithCompressionLevel(1),
	parquet.WithCompressionFor("time", compress.Codecs.Zstd),
	parquet.WithCompressionFor("value", compress.Codecs.Zstd),
	parquet.WithCompressionFor("retrieved", compress.Codecs.Zstd),
	parquet.WithDictionaryDefault(true),
	parquet.WithStats(false),
	parquet.WithDictionaryFor("time", false),
	parquet.WithEncodingFor("time", parquet.Encodings.DeltaBinaryPacked),
	parquet.WithStatsFor("time", true),
	parquet.WithDictionaryFor("retrieved", false),
	parquet.WithEncodingFor("retrieved", parquet.Encodings.DeltaBinaryPacked),
)

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

// fileWriter writes one Parquet file table by table. What the library throws
// becomes an error.
type fileWriter struct {
	w        *file.Writer
	name     string
	ensemble bool
}

func newFileWriter(out io.Writer, s bundle, name string, place ingest.SiteInfo) (fw *fileWriter, err error) {
	fw = &fileWriter{name: name, ensemble: s.Ensemble}
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
	fw.w = file.NewParquetWriter(out, root, file.WithWriterProps(writerProps), file.WithWriteMetadata(meta))
	return fw, nil
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
	for a := 0; a < t.len(); a += rowGroupRows {
		group := t.slice(a, min(a+rowGroupRows, t.len()))
		if err := writeGroup(fw.w, fw.ensemble, &group); err != nil {
			return err
		}
	}
	return nil
}

func (fw *fileWriter) close() (err error) {
	defer fw.guard(&err)
	return fw.w.Close()
}

func writeGroup(w *file.Writer, ensemble bool, t *table) error {
	g := w.AppendRowGroup()
	next := func(write func(file.ColumnChunkWriter) error) error {
		c, err := g.NextColumn()
		if err != nil {
			return err
		}
		if err := write(c); err != nil {
			return err
		}
		return c.Close()
	}
	steps := []func(file.ColumnChunkWriter) error{
		int64Writer(t.time), valueWriter(t.value), stringWriter(t.qualifier),
		smallWriter(t.approval), smallWriter(t.flag), stringWriter(t.test), int64Writer(t.retrieved),
	}
	if ensemble {
		steps = append([]func(file.ColumnChunkWriter) error{smallWriter(t.member)}, steps...)
	}
	for _, step := range steps {
		if err := next(step); err != nil {
			return err
		}
	}
	return g.Close()
}

func int64Writer(col []int64) func(file.ColumnChunkWriter) error {
	return func(c file.ColumnChunkWriter) error {
		_, err := c.(*file.Int64ColumnChunkWriter).WriteBatch(col, nil, nil)
		return err
	}
}

func smallWriter[T ~uint8 | ~int32](col []T) func(file.ColumnChunkWriter) error {
	return func(c file.ColumnChunkWriter) error {
		wide := make([]int32, len(col))
		for i, x := range col {
			wide[i] = int32(x)
		}
		_, err := c.(*file.Int32ColumnChunkWriter).WriteBatch(wide, nil, nil)
		return err
	}
}

func stringWriter(col []string) func(file.ColumnChunkWriter) error {
	return func(c file.ColumnChunkWriter) error {
		texts := make([]parquet.ByteArray, len(col))
		for i, s := range col {
			if i > 0 && s == col[i-1] {
				texts[i] = texts[i-1]
				continue
			}
			texts[i] = parquet.ByteArray(s)
		}
		_, err := c.(*file.ByteArrayColumnChunkWriter).WriteBatch(texts, nil, nil)
		return err
	}
}

// valueWriter stores NaN as null, so that other tools leave missing readings
// out of their means.
func valueWriter(col []float64) func(file.ColumnChunkWriter) error {
	return func(c file.ColumnChunkWriter) error {
		defined := make([]int16, len(col))
		present := make([]float64, 0, len(col))
		for i, v := range col {
			if !math.IsNaN(v) {
				defined[i] = 1
				present = append(present, v)
			}
		}
		_, err := c.(*file.Float64ColumnChunkWriter).WriteBatch(present, defined, nil)
		return err
	}
}
