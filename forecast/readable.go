package forecast

import (
	"context"
	"errors"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
)

// readableKeys lists the series that can be read. One whose index is damaged
// counts as missing, so that one damaged file does not end the forecasts of all
// rivers: what a river lacks widens its dates and makes its caution unknown.
func readableKeys(ctx context.Context, store Reader) ([]ingest.Key, error) {
	keys, err := store.Keys(ctx)
	if d := (*series.DamagedError)(nil); errors.As(err, &d) {
		return keys, nil
	}
	return keys, err
}
