package archive

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/ingest/db"
)

// Head is what a list shows of an outlook; it is read without opening the file.
type Head struct {
	River        string               `json:"river"`
	RiverName    string               `json:"river_name"`
	Issued       time.Time            `json:"issued"`
	CutOff       time.Time            `json:"cut_off"`
	ModelVersion string               `json:"model_version"`
	Seasons      int                  `json:"seasons"`
	WaterSource  forecast.WaterSource `json:"water_source"`
}

func headOf(o *forecast.Outlook) Head {
	return Head{
		River: o.River, RiverName: o.RiverName, Issued: o.IssuedAt, CutOff: o.DataCutoff, ModelVersion: o.ModelVersion,
		Seasons: o.Seasons, WaterSource: o.WaterSource,
	}
}

// List returns the heads of a river's outlooks issued in [from, to), oldest
// first.
func (a *Archive) List(ctx context.Context, river string, from, to time.Time) ([]Head, error) {
	all, err := db.Outlooks(ctx, a.db.SQL, river, from, to)
	if err != nil {
		return nil, err
	}
	out := make([]Head, len(all))
	for i, row := range all {
		if err := json.Unmarshal([]byte(row.Body), &out[i]); err != nil {
			return nil, fmt.Errorf("reading the index of the outlooks of %s: %w", river, err)
		}
	}
	return out, nil
}

// Issue names an issued outlook.
type Issue struct {
	River        string
	Issued       time.Time
	CutOff       time.Time // of its data
	ModelVersion string
}

// LatestIssue names the newest outlook of a river issued by asOf.
func (a *Archive) LatestIssue(ctx context.Context, river string, asOf time.Time) (Issue, error) {
	row, err := db.LatestOutlook(ctx, a.db.SQL, river, asOf)
	return Issue{row.River, row.Issued, row.CutOff, row.ModelVersion}, err
}
