package api

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"reflect"
	"strconv"
)

// flowScore is how one service's forecasts of flow did at a gauge, at one lead.
type flowScore struct {
	Service     string  `json:"service"`
	LeadDays    int     `json:"lead_days" doc:"0 is the day of the issue"`
	Within      int     `json:"within_20_percent" doc:"days on which it was within 20 % of what came"`
	Days        int     `json:"of_days"`
	MedianRatio float64 `json:"median_ratio" doc:"forecast over measured flow: 1.3 is a third too high"`
}

func (s *service) flowScores(ctx context.Context, in *struct {
	ByRiver
	Paging
}) (*paged[flowScore], error) {
	r, st, err := s.state(ctx, in.River)
	if err != nil {
		return nil, err
	}
	var all []flowScore
	if st != nil && st.Outlook != nil && st.Outlook.Flow != nil {
		for _, x := range st.Outlook.Flow.Services {
			for _, y := range x.Scores {
				all = append(all, flowScore{x.Name, y.Lead, y.Within, y.Of, y.Ratio})
			}
		}
	}
	return page(s, in.Paging, all, s.cautionOf(r, st)), nil
}

// score is a row of the report of a backtest; its members are columns of
// rivers.ScoreTable.
type score struct {
	Scope         string   `json:"scope" doc:"what the row is grouped by: group, river, lead"`
	Group         string   `json:"group,omitempty"`
	Stage         string   `json:"stage,omitempty"`
	River         string   `json:"river,omitempty"`
	Lead          int      `json:"lead" doc:"days from issue to target; -1: all leads together"`
	Seasons       int      `json:"seasons" doc:"seasons judged"`
	N             int      `json:"n" doc:"days or sightings judged"`
	Score         *float64 `json:"score" doc:"mean squared error of the chance (Brier score)"`
	ScoreCalendar *float64 `json:"score_calendar" doc:"the same for the calendar"`
	Skill         *float64 `json:"skill" doc:"1 - score / score_calendar"`
	SkillLow      *float64 `json:"skill_low" doc:"lower end of its 90 % bootstrap interval over seasons"`
	SkillHigh     *float64 `json:"skill_high"`
	Dates         int      `json:"dates" doc:"dates of the peak judged"`
	DateError     *float64 `json:"date_error" doc:"mean absolute error of the peak, days"`
	DateErrorCal  *float64 `json:"date_error_calendar"`
	DateCovered   *float64 `json:"date_covered" doc:"share of dates within the 80 % range"`
	Verdict       string   `json:"verdict" doc:"chances against the calendar, in words"`
	VerdictDates  string   `json:"verdict_dates"`
}

func (s *service) scores(_ context.Context, in *struct{ Paging }) (*paged[score], error) {
	all, err := s.readScores()
	if err != nil {
		return nil, err
	}
	return page(s, in.Paging, all, nil), nil
}

// readScores reads scores.csv of the report; where there is none there are no rows.
func (s *service) readScores() ([]score, error) {
	if s.Reports == nil {
		return nil, nil
	}
	f, err := s.Reports.Open("scores.csv")
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the backtest's scores: %w", err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) == 0 {
		return nil, fmt.Errorf("reading the backtest's scores: %w", err)
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	out := make([]score, len(rows)-1)
	for i := range out {
		for name, f := range fieldsOf(reflect.ValueOf(&out[i]).Elem()) {
			k, ok := at[name]
			if !ok || rows[i+1][k] == "" {
				continue
			}
			if err := setField(f, rows[i+1][k]); err != nil {
				return nil, fmt.Errorf("reading the backtest's scores, row %d, %s: %w", i+1, name, err)
			}
		}
	}
	return out, nil
}

func setField(f reflect.Value, text string) error {
	switch f.Kind() {
	case reflect.Int:
		n, err := strconv.Atoi(text)
		f.SetInt(int64(n))
		return err
	case reflect.Pointer:
		v, err := strconv.ParseFloat(text, 64)
		f.Set(reflect.ValueOf(&v))
		return err
	default:
		f.SetString(text)
		return nil
	}
}
