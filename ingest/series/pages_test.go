package series

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/google/go-cmp/cmp"

	"example.org/eclose/ingest"
)

// What we write the library's own column readers read, and the other way round: its
// column writers wrote the files of former versions.
func TestThePagesAreThoseOfTheLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 18))
	for n := range 100 {
		want := oddTable(r)
		sh := bundleOf(wendTemperature)
		sh.Ensemble = want.member != nil
		data, err := encode(sh, ingest.SiteInfo{Name: "Wend"}, &want)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, readByLibrary(t, data, sh.Ensemble), cmp.AllowUnexported(table{}), nanEqual); diff != "" {
			t.Fatalf("table %d, read by the library: %s", n, diff)
		}
		for _, data := range [][]byte{data, writtenByLibrary(t, r, &want)} {
			got, err := decode(data, allColumns, wanted{all: true})
			if err != nil {
				t.Fatalf("table %d: %v", n, err)
			}
			if diff := cmp.Diff(want, got, cmp.AllowUnexported(table{}), nanEqual); diff != "" {
				t.Fatalf("table %d: %s", n, diff)
			}
		}
	}
}

// oddTable is what a river never gives: every number of distinct values, lengths of
// runs, widths of bits and share of missing ones.
func oddTable(r *rand.Rand) table {
	var t table
	n := 1 + r.IntN(1<<r.IntN(15))
	distinct, lasting, far, lacking := 1<<r.IntN(12), 1+r.IntN(40), r.IntN(64), r.IntN(3)*r.IntN(60)
	texts := []string{"", "", "ice", "e;\"x\",\né"}
	for range distinct / 4 {
		texts = append(texts, fmt.Sprint("sensor ", r.IntN(distinct)))
	}
	odd := []float64{math.Inf(1), math.Inf(-1), math.MaxFloat64, math.SmallestNonzeroFloat64, 0, -5.25}
	ensemble := r.IntN(2) == 0
	var member int32
	var at, retrieved int64
	var value float64
	var text, test string
	var approval ingest.Approval
	var flag ingest.Flag
	for i := range n {
		at += int64(r.Uint64() >> (63 - far))
		if i == 0 || r.IntN(lasting) == 0 {
			value, retrieved = float64(r.IntN(distinct))/10, int64(r.Uint64()>>r.IntN(64))
			if r.IntN(9) == 0 {
				value = odd[r.IntN(len(odd))]
			}
			text, test = texts[r.IntN(len(texts))], texts[r.IntN(len(texts))]
			approval, flag, member = ingest.Approval(r.IntN(3)), ingest.Flag(r.IntN(10)), r.Int32N(80)
		}
		if ensemble {
			t.member = append(t.member, member)
		}
		shown := value
		if r.IntN(60) < lacking {
			shown = math.NaN()
		}
		t.time, t.value, t.retrieved = append(t.time, at), append(t.value, shown), append(t.retrieved, retrieved)
		t.qualifier, t.test = append(t.qualifier, text), append(t.test, test)
		t.approval, t.flag = append(t.approval, approval), append(t.flag, flag)
	}
	return t
}

// writtenByLibrary is a table as former versions wrote it, in pages and dictionaries
// of many sizes.
func writtenByLibrary(t *testing.T, r *rand.Rand, rows *table) []byte {
	t.Helper()
	root, err := fileSchema(rows.member != nil)
	if err != nil {
		t.Fatal(err)
	}
	props := []parquet.WriterProperty{
		parquet.WithVersion(parquet.V2_LATEST), parquet.WithCompression(compress.Codecs.Zstd),
		parquet.WithDataPageSize(int64(1) << (4 + r.IntN(16))), parquet.WithBatchSize(int64(1 + r.IntN(1000))),
		parquet.WithDictionaryFor("time", false), parquet.WithEncodingFor("time", parquet.Encodings.DeltaBinaryPacked),
	}
	if r.IntN(2) == 0 {
		props = append(props, parquet.WithDictionaryFor("retrieved", false), parquet.WithEncodingFor("retrieved", parquet.Encodings.DeltaBinaryPacked))
	}
	if r.IntN(4) == 0 {
		props = append(props, parquet.WithDictionaryFor("value", false), parquet.WithDictionaryFor("qualifier", false), parquet.WithDictionaryFor("flag", false))
	}
	var out bytes.Buffer
	w := file.NewParquetWriter(&out, root, file.WithWriterProps(parquet.NewWriterProperties(props...)))
	g := w.AppendRowGroup()
	for i := range root.NumFields() {
		c, err := g.NextColumn()
		if err != nil {
			t.Fatal(err)
		}
		switch name := root.Field(i).Name(); name {
		case "time", "retrieved":
			_, err = c.(*file.Int64ColumnChunkWriter).WriteBatch(map[string][]int64{"time": rows.time, "retrieved": rows.retrieved}[name], nil, nil)
		case "value":
			var present []float64
			var defined []int16
			for _, v := range rows.value {
				if math.IsNaN(v) {
					defined = append(defined, 0)
					continue
				}
				present, defined = append(present, v), append(defined, 1)
			}
			_, err = c.(*file.Float64ColumnChunkWriter).WriteBatch(present, defined, nil)
		case "qualifier", "flag_test":
			var texts []parquet.ByteArray
			for _, s := range map[string][]string{"qualifier": rows.qualifier, "flag_test": rows.test}[name] {
				texts = append(texts, parquet.ByteArray(s))
			}
			_, err = c.(*file.ByteArrayColumnChunkWriter).WriteBatch(texts, nil, nil)
		default:
			wide := rows.member
			if name != memberName {
				wide = nil
				for i := range rows.flag {
					wide = append(wide, map[string]int32{"flag": int32(rows.flag[i]), "approval": int32(rows.approval[i])}[name])
				}
			}
			_, err = c.(*file.Int32ColumnChunkWriter).WriteBatch(wide, nil, nil)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// readByLibrary reads a file of one row group.
func readByLibrary(t *testing.T, data []byte, ensemble bool) (rows table) {
	t.Helper()
	f, err := file.NewParquetReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	n := int(f.NumRows())
	first := 0
	if ensemble {
		first = 1
		rows.member = readLibraryColumn[int32, *file.Int32ColumnChunkReader](t, f, 0, n, nil)
	}
	defined := make([]int16, n)
	rows.time = readLibraryColumn[int64, *file.Int64ColumnChunkReader](t, f, first, n, nil)
	present := readLibraryColumn[float64, *file.Float64ColumnChunkReader](t, f, first+1, n, defined)
	for _, d := range defined {
		v := math.NaN()
		if d == 1 {
			v, present = present[0], present[1:]
		}
		rows.value = append(rows.value, v)
	}
	for _, s := range readLibraryColumn[parquet.ByteArray, *file.ByteArrayColumnChunkReader](t, f, first+2, n, nil) {
		rows.qualifier = append(rows.qualifier, string(s))
	}
	for _, x := range readLibraryColumn[int32, *file.Int32ColumnChunkReader](t, f, first+3, n, nil) {
		rows.approval = append(rows.approval, ingest.Approval(x))
	}
	for _, x := range readLibraryColumn[int32, *file.Int32ColumnChunkReader](t, f, first+4, n, nil) {
		rows.flag = append(rows.flag, ingest.Flag(x))
	}
	for _, s := range readLibraryColumn[parquet.ByteArray, *file.ByteArrayColumnChunkReader](t, f, first+5, n, nil) {
		rows.test = append(rows.test, string(s))
	}
	rows.retrieved = readLibraryColumn[int64, *file.Int64ColumnChunkReader](t, f, first+6, n, nil)
	return rows
}

func readLibraryColumn[T any, C interface {
	ReadBatch(n int64, values []T, defined, repeated []int16) (int64, int, error)
}](t *testing.T, f *file.Reader, at, n int, defined []int16) []T {
	t.Helper()
	c, err := f.RowGroup(0).Column(at)
	if err != nil {
		t.Fatal(err)
	}
	out := make([]T, n)
	rows, _, err := c.(C).ReadBatch(int64(n), out, defined, nil)
	if err != nil || int(rows) != n {
		t.Fatalf("column %d: %d of %d rows: %v", at, rows, n, err)
	}
	return out
}
