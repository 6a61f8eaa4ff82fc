package forecast

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"example.org/eclose/ingest/db"
)

// CalibrationsAsOf reads the newest lessons of a river that had been learnt by a
// moment, so that an outlook of the past does not know them before their time.
// There may be none.
func CalibrationsAsOf(ctx context.Context, q db.Querier, river string, at time.Time) (Calibrations, error) {
	all, err := db.Calibrations(ctx, q, river)
	if err != nil && !errors.Is(err, db.ErrNotFound) {
		return nil, err
	}
	for _, c := range slices.Backward(all) {
		if !c.Made.After(at) {
			return DecodeCalibrations(c)
		}
	}
	return nil, nil
}

// DecodeCalibrations reads what one version holds.
func DecodeCalibrations(c db.Calibration) (Calibrations, error) {
	var l Calibrations
	if err := json.Unmarshal([]byte(c.Body), &l); err != nil {
		return nil, fmt.Errorf("reading calibration version %d for %s: %w", c.Version, c.River, err)
	}
	return l, nil
}
