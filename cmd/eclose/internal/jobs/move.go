package jobs

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"
)

// decode reads keys as they lie in the database.
func decode(kind string, keys []byte) (Args, error) {
	switch kind {
	case Plan{}.Kind():
		return as[Plan](keys)
	case Fetch{}.Kind():
		return as[Fetch](keys)
	case Warnings{}.Kind():
		return as[Warnings](keys)
	case FetchRecords{}.Kind():
		return as[FetchRecords](keys)
	case Neighbour{}.Kind():
		return as[Neighbour](keys)
	case Forget{}.Kind():
		return as[Forget](keys)
	case Outlook{}.Kind():
		return as[Outlook](keys)
	case Alerts{}.Kind():
		return as[Alerts](keys)
	case Tick{}.Kind():
		return as[Tick](keys)
	case Deliver{}.Kind():
		return as[Deliver](keys)
	case Invite{}.Kind():
		return as[Invite](keys)
	case Calibrate{}.Kind():
		return as[Calibrate](keys)
	case BacktestSeason{}.Kind(), BacktestSeason{}.KindAliases()[0]:
		return as[BacktestSeason](keys)
	case Export{}.Kind():
		return as[Export](keys)
	}
	return nil, fmt.Errorf("unknown job kind %q", kind)
}

func as[T Args](keys []byte) (Args, error) {
	var a T
	err := json.Unmarshal(keys, &a)
	return a, err
}

// Take adds every job of another queue that is not finished yet, due when it was
// due there. Adding it again does nothing, so a move may be repeated.
func (q *Queue) Take(ctx context.Context, from *Queue) (added int, err error) {
	var all []Args
	p := river.NewJobListParams().OrderBy(river.JobListOrderByID, river.SortOrderAsc).First(1000).
		States(rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateRunning, rivertype.JobStateRetryable, rivertype.JobStateScheduled)
	for {
		res, err := from.river.list(ctx, p)
		if err != nil {
			return 0, fmt.Errorf("taking over jobs: %w", err)
		}
		if len(res.Jobs) == 0 {
			break
		}
		for _, j := range res.Jobs {
			a, err := decode(j.Kind, j.EncodedArgs)
			if err != nil {
				return 0, fmt.Errorf("taking over job %d: %w", j.ID, err)
			}
			all = append(all, At{Args: a, At: j.ScheduledAt})
		}
		p = p.After(res.LastCursor)
	}
	return q.Add(ctx, all...)
}
