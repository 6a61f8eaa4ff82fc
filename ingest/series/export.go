package series

import (
	"bufio"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"example.org/eclose/ingest"
)

// ExportCSV writes the readings of a query as CSV with a header. Times are
// RFC 3339 in UTC (calendar dates for daily values); an empty value is one the
// agency reported as missing. It holds one file of the store at a time.
func (s *Store) ExportCSV(ctx context.Context, out io.Writer, key ingest.Key, q Query) error {
	w := csv.NewWriter(out)
	if err := w.Write([]string{"time", "value", "unit", "qualifier", "approval", "flag", "flag_test", "retrieved"}); err != nil {
		return fmt.Errorf("exporting %s: %w", key, err)
	}
	layout := time.RFC3339Nano
	if key.Period == ingest.Daily {
		layout = time.DateOnly
	}
	unit := key.Variable.Unit()
	err := s.Scan(ctx, key, q, func(piece ingest.Series) error {
		for i := range piece.Time {
			value := ""
			if !math.IsNaN(piece.Value[i]) {
				value = strconv.FormatFloat(piece.Value[i], 'g', -1, 64)
			}
			err := w.Write([]string{
				piece.At(i).Format(layout), value, unit, piece.Qualifier[i], piece.Approval[i].String(),
				strconv.Itoa(int(piece.Flag[i])), piece.FlagTest[i], time.UnixMicro(piece.Retrieved[i]).UTC().Format(time.RFC3339Nano),
			})
			if err != nil {
				return fmt.Errorf("exporting %s: %w", key, err)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if w.Flush(); w.Error() != nil {
		return fmt.Errorf("exporting %s: %w", key, w.Error())
	}
	return nil
}

// ExportParquet writes the readings of a query as one Parquet file with the
// columns described at the head of this package, the unit in its metadata.
func (s *Store) ExportParquet(ctx context.Context, out io.Writer, key ingest.Key, q Query) error {
	buffered := bufio.NewWriter(out)
	sh := bundleOf(key)
	sh.Ensemble = false // one member alone: its number is in the name
	var w *fileWriter
	err := s.Scan(ctx, key, q, func(piece ingest.Series) (err error) {
		if w == nil {
			if w, err = newFileWriter(buffered, sh, key.String(), piece.Place); err != nil {
				return err
			}
		}
		return w.add(&table{time: piece.Time, value: piece.Value, qualifier: piece.Qualifier, approval: piece.Approval,
			flag: piece.Flag, test: piece.FlagTest, retrieved: piece.Retrieved})
	})
	if err == nil {
		err = w.close() // Scan hands over at least one piece
	}
	if err == nil {
		err = buffered.Flush()
	}
	return err
}
