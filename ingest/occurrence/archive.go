package occurrence

import (
	"archive/zip"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"
)

// meta is the part of an archive's meta.xml that is used (Darwin Core Text
// Guide, TDWG): a core file and its extensions, each with its columns.
type meta struct {
	Core       metaFile   `xml:"core"`
	Extensions []metaFile `xml:"extension"`
}

type metaFile struct {
	RowType      string `xml:"rowType,attr"`
	Separator    string `xml:"fieldsTerminatedBy,attr"`
	Enclosed     string `xml:"fieldsEnclosedBy,attr"`
	SkipLines    int    `xml:"ignoreHeaderLines,attr"`
	Encoding     string `xml:"encoding,attr"`
	Location     string `xml:"files>location"`
	IDColumn     metaID `xml:"id"`
	CoreIDColumn metaID `xml:"coreid"`
	Fields       []struct {
		Index   *int   `xml:"index,attr"`
		Term    string `xml:"term,attr"`
		Default string `xml:"default,attr"`
	} `xml:"field"`
}

type metaID struct {
	Index *int `xml:"index,attr"`
}

// maxUnpacked bounds one file of an archive after unpacking.
const maxUnpacked = 8 << 30

// ReadArchive reads the occurrences of a Darwin Core archive, each filled up
// with its sampling event where the archive has events. An archive without
// meta.xml is read if it holds one table, as GBIF's simple download does.
func ReadArchive(r io.ReaderAt, size int64, yield func(Record) error) error {
	z, err := zip.NewReader(r, size)
	if err != nil {
		return dwc.Fault("archive", "is not a zip file", "download it again", err)
	}
	open := func(name string) (io.ReadCloser, error) {
		for _, f := range z.File {
			if path.Base(f.Name) == path.Base(name) && !f.FileInfo().IsDir() {
				rc, err := f.Open()
				if err != nil {
					return nil, dwc.Fault(name, "cannot be unpacked", "download it again", err)
				}
				return struct {
					io.Reader
					io.Closer
				}{io.LimitReader(rc, maxUnpacked), rc}, nil
			}
		}
		return nil, dwc.Fault("archive", "lacks the file "+name, "download it again", nil)
	}
	m, err := readMeta(open)
	if err != nil {
		return err
	}
	if m == nil {
		return readOnlyTable(z, open, yield)
	}
	events := map[string]row{}
	for _, f := range m.files("event") {
		if err := f.each(open, func(x row, id string) error {
			x.cells = append([]string(nil), x.cells...)
			events[id] = x
			return nil
		}); err != nil {
			return err
		}
	}
	occurrences := m.files("occurrence")
	if len(occurrences) == 0 {
		return dwc.Fault("meta.xml", "names no file of occurrences", "the archive may be a checklist", nil)
	}
	for _, f := range occurrences {
		err := f.each(open, func(x row, id string) error {
			var event *row
			for _, key := range []string{x.get("eventid"), id} {
				if e, ok := events[key]; ok && event == nil {
					event = &e
				}
			}
			o := recordOf(x, event)
			if o.Event == "" && event != nil {
				o.Event = id
			}
			return yield(o)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func readMeta(open func(string) (io.ReadCloser, error)) (*meta, error) {
	f, err := open("meta.xml")
	if err != nil {
		return nil, nil
	}
	defer f.Close() //nolint:errcheck // it was only read
	var m meta
	if err := xml.NewDecoder(io.LimitReader(f, 4<<20)).Decode(&m); err != nil {
		return nil, dwc.Fault("meta.xml", "is not the expected XML", "download the archive again", err)
	}
	return &m, nil
}

func readOnlyTable(z *zip.Reader, open func(string) (io.ReadCloser, error), yield func(Record) error) error {
	found := ""
	for _, f := range z.File {
		switch strings.ToLower(path.Ext(f.Name)) {
		case ".csv", ".txt", ".tsv":
			if found != "" {
				return dwc.Fault("archive", "holds several tables and no meta.xml", "unpack it and import occurrence.txt", nil)
			}
			found = f.Name
		}
	}
	if found == "" {
		return dwc.Fault("archive", "holds no table", "", nil)
	}
	f, err := open(found)
	if err != nil {
		return err
	}
	defer f.Close() //nolint:errcheck // it was only read
	return ReadText(f, yield)
}

// files returns the core or the extensions whose rows are of a class.
func (m *meta) files(class string) (out []metaFile) {
	for _, f := range append([]metaFile{m.Core}, m.Extensions...) {
		if term(f.RowType) == class {
			out = append(out, f)
		}
	}
	return out
}

// each reads the rows of a file; id is that of the row, or of the core row that
// an extension's row belongs to.
func (f metaFile) each(open func(string) (io.ReadCloser, error), do func(x row, id string) error) error {
	in, err := open(f.Location)
	if err != nil {
		return err
	}
	defer in.Close() //nolint:errcheck // it was only read
	x := row{at: map[string]int{}, fixed: map[string]string{}}
	for _, c := range f.Fields {
		if c.Index != nil && *c.Index >= 0 {
			x.at[term(c.Term)] = *c.Index
		}
		if c.Default != "" {
			x.fixed[term(c.Term)] = c.Default
		}
	}
	key := f.IDColumn.Index
	if key == nil {
		key = f.CoreIDColumn.Index
	}
	t := table{separator: ',', quoted: f.Enclosed != ""}
	switch f.Separator {
	case "", ",":
	case `\t`, "\t":
		t.separator = '\t'
	case ";", "|":
		t.separator = rune(f.Separator[0])
	default:
		return dwc.Fault("meta.xml", fmt.Sprintf("separates columns by %q, which is not read", f.Separator), "", nil)
	}
	if f.Encoding != "" && !strings.EqualFold(f.Encoding, "utf-8") && !strings.EqualFold(f.Encoding, "utf8") {
		return dwc.Fault("meta.xml", fmt.Sprintf("says the text is %s; only UTF-8 is read", f.Encoding), "convert the files", nil)
	}
	br, _, err := dwc.Begin(in)
	if err != nil {
		return err
	}
	next := t.rows(br)
	for range min(max(f.SkipLines, 0), 100) {
		if _, err := next(); err != nil && !errors.Is(err, io.EOF) {
			return err
		}
	}
	return eachRow(next, x, func(x row) error {
		id := ""
		if key != nil && *key >= 0 && *key < len(x.cells) {
			id = strings.TrimSpace(x.cells[*key])
		}
		return do(x, id)
	})
}
