package records

import (
	"bytes"
	"fmt"
	"io"
	"os"

	"example.org/eclose/ingest/feed/gbif"
	"example.org/eclose/ingest/feed/inaturalist"
	"example.org/eclose/ingest/occurrence"
)

// ReadFile reads a file of occurrences, whatever its kind: a Darwin Core
// archive, a Darwin Core CSV, a GBIF download, a saved response of iNaturalist
// or of GBIF's occurrence search. The content decides, not the name.
func ReadFile(path string, yield func(occurrence.Record) error) (err error) {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("reading occurrences: %w", err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	head := make([]byte, 4096)
	n, err := io.ReadFull(f, head)
	if err != nil && n == 0 {
		return fmt.Errorf("%s: is empty", path)
	}
	head = bytes.TrimLeft(bytes.TrimPrefix(head[:n], []byte("\xef\xbb\xbf")), " \r\n\t")
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("reading %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			err = fmt.Errorf("%s: %w", path, err)
		}
	}()
	switch {
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		info, err := f.Stat()
		if err != nil {
			return err
		}
		return occurrence.ReadArchive(f, info.Size(), yield)
	case bytes.HasPrefix(head, []byte("{")):
		return readJSON(f, bytes.Contains(head, []byte(`"endOfRecords"`)), yield)
	}
	return occurrence.ReadText(f, yield)
}

func readJSON(r io.Reader, fromGBIF bool, yield func(occurrence.Record) error) error {
	var list []occurrence.Record
	if fromGBIF {
		p, err := gbif.ParsePage(r)
		if err != nil {
			return err
		}
		list = p.Records
	} else {
		p, err := inaturalist.ParsePage(r)
		if err != nil {
			return err
		}
		list = p.Records
	}
	for _, x := range list {
		if err := yield(x); err != nil {
			return err
		}
	}
	return nil
}
