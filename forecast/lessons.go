package forecast

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"example.org/eclose/ingest/db"
)

// LessonsAsOf reads the newest lessons of a river that had been learnt by a
// moment, so that an outlook of the past does not know them before their time.
// There may be none.
func LessonsAsOf(ctx context.Context, q db.Querier, river string, at time.Time) (Lessons, error) {
	all, err := db.Calibrations(ctx, q, river)
	if err != nil && !errors.Is(err, db.ErrNotFound) {
		return nil, err
	}
	for i := len(all) - 1; i >= 0; i-- {
		if all[i].Made.After(at) {
			continue
		}
		var l Lessons
		if err := json.Unmarshal([]byte(all[i].Body), &l); err != nil {
			return nil, fmt.Errorf("reading version %d of what the diary of %s taught: %w", all[i].Version, river, err)
		}
		return l, nil
	}
	return nil, nil
}
