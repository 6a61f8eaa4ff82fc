package rivers

import (
	"iter"

	"example.org/eclose/forecast/export"
)

// ScoreTable is the table of scores for other tools.
var ScoreTable = export.Table[Score]{Name: "backtest-score", Version: "1", Columns: []export.Column[Score]{
	{Name: "scope", Long: "what the row is grouped by: group, river, lead", Field: func(s *Score) any { return &s.Scope }},
	{Name: "group", Long: "key of the insect group", Field: func(s *Score) any { return &s.Group }},
	{Name: "stage", Long: "emergence or egg-laying", Field: func(s *Score) any { return (*string)(&s.Stage) }},
	{Name: "river", Long: "key of the river", Field: func(s *Score) any { return &s.River }},
	{Name: "lead", Units: "day", Long: "days from issue to target; -1 for all leads together", Field: func(s *Score) any { return &s.Lead }},
	{Name: "seasons", Units: "1", Long: "seasons judged", Field: func(s *Score) any { return &s.Seasons }},
	{Name: "n", Units: "1", Long: "days or sightings judged", Field: func(s *Score) any { return &s.N }},
	{Name: "score", Units: "1", Long: "mean squared error of the chance (Brier score)", Field: func(s *Score) any { return &s.Model }},
	{Name: "score_calendar", Units: "1", Long: "the same for the calendar", Field: func(s *Score) any { return &s.Calendar }},
	{Name: "score_plain_calendar", Units: "1", Long: "the same for a calendar that takes all past seasons alike", Field: func(s *Score) any { return &s.Plain }},
	{Name: "skill", Units: "1", Long: "1 - score / score_calendar", Field: func(s *Score) any { return &s.Skill.Value }},
	{Name: "skill_low", Units: "1", Long: "lower bound of its 90% bootstrap interval over seasons", Field: func(s *Score) any { return &s.Skill.Low }},
	{Name: "skill_high", Units: "1", Long: "upper bound of its 90% bootstrap interval over seasons", Field: func(s *Score) any { return &s.Skill.High }},
	{Name: "n_last_year", Units: "1", Long: "of n, those with a date of last year", Field: func(s *Score) any { return &s.LastN }},
	{Name: "score_last_year", Units: "1", Long: "mean squared error of the calendar shifted to last year's date", Field: func(s *Score) any { return &s.Last }},
	{Name: "skill_last_year", Units: "1", Long: "skill against that", Field: func(s *Score) any { return &s.SkillLast.Value }},
	{Name: "skill_last_year_low", Units: "1", Long: "lower end of its 90 % interval", Field: func(s *Score) any { return &s.SkillLast.Low }},
	{Name: "skill_last_year_high", Units: "1", Long: "upper end of its 90 % interval", Field: func(s *Score) any { return &s.SkillLast.High }},
	{Name: "dates", Units: "1", Long: "dates of the peak judged", Field: func(s *Score) any { return &s.DateN }},
	{Name: "date_error", Units: "day", Long: "mean absolute error of the middle estimate of the peak", Field: func(s *Score) any { return &s.Error }},
	{Name: "date_error_calendar", Units: "day", Long: "the same of the calendar's date", Field: func(s *Score) any { return &s.ErrorCalendar }},
	{Name: "date_error_plain_calendar", Units: "day", Long: "the same of the plain calendar's date", Field: func(s *Score) any { return &s.ErrorPlain }},
	{Name: "date_error_last_year", Units: "day", Long: "the same of last year's date, where there is one", Field: func(s *Score) any { return &s.ErrorLast }},
	{Name: "date_bias", Units: "day", Long: "mean error of the peak, above 0 where the forecast was late", Field: func(s *Score) any { return &s.Bias }},
	{Name: "date_gain", Units: "day", Long: "date_error_calendar - date_error", Field: func(s *Score) any { return &s.Gain.Value }},
	{Name: "date_gain_low", Units: "day", Long: "lower end of its 90 % interval", Field: func(s *Score) any { return &s.Gain.Low }},
	{Name: "date_gain_high", Units: "day", Long: "upper end of its 90 % interval", Field: func(s *Score) any { return &s.Gain.High }},
	{Name: "date_covered", Units: "1", Long: "share of dates within the 80% range; 0.8 if reliable", Field: func(s *Score) any { return &s.Covered }},
	{Name: "date_range", Units: "day", Long: "mean width of that range", Field: func(s *Score) any { return &s.Width }},
	{Name: "verdict", Long: "chances against the calendar, in words", Field: func(s *Score) any { return &s.Verdict }},
	{Name: "verdict_dates", Long: "dates against the calendar, in words", Field: func(s *Score) any { return &s.VerdictDates }},
}}

// DateTable is the table of every date of a peak that was said.
var DateTable = export.Table[DateCase]{Name: "backtest-date", Version: "1", Columns: []export.Column[DateCase]{
	{Name: "river", Long: "key of the river", Field: func(d *DateCase) any { return &d.River }},
	{Name: "season", Units: "1", Long: "calendar year", Field: func(d *DateCase) any { return &d.Season }},
	{Name: "group", Long: "key of the insect group", Field: func(d *DateCase) any { return &d.Group }},
	{Name: "stage", Long: "emergence or egg-laying", Field: func(d *DateCase) any { return (*string)(&d.Stage) }},
	{Name: "lead", Units: "day", Long: "least number of days from the issue to the calendar's date", Field: func(d *DateCase) any { return &d.Lead }},
	{Name: "issue", Long: "date of issue", Field: func(d *DateCase) any { return &d.Issue }},
	{Name: "peak_p10", Long: "peak as forecast, 10 % point", Field: func(d *DateCase) any { return &d.Early }},
	{Name: "peak_p50", Long: "peak as forecast, middle", Field: func(d *DateCase) any { return &d.Median }},
	{Name: "peak_p90", Long: "peak as forecast, 90 % point", Field: func(d *DateCase) any { return &d.Late }},
	{Name: "peak_calendar", Long: "peak by the calendar alone", Field: func(d *DateCase) any { return &d.Calendar }},
	{Name: "peak_plain_calendar", Long: "peak by the calendar that takes all past seasons alike", Field: func(d *DateCase) any { return &d.Plain }},
	{Name: "peak_last_year", Long: "last year's date in this year", Field: func(d *DateCase) any { return &d.Last }},
	{Name: "peak_came", Long: "middle of the sightings, or peak by the season's analysis", Field: func(d *DateCase) any { return &d.Observed }},
}}

// CaseTable is the table of every sighting held against its chance.
var CaseTable = export.Table[Case]{Name: "backtest-sighting", Version: "1", Columns: []export.Column[Case]{
	{Name: "river", Long: "key of the river", Field: func(c *Case) any { return &c.River }},
	{Name: "season", Units: "1", Long: "calendar year", Field: func(c *Case) any { return &c.Season }},
	{Name: "group", Long: "key of the insect group", Field: func(c *Case) any { return &c.Group }},
	{Name: "stage", Long: "emergence or egg-laying", Field: func(c *Case) any { return (*string)(&c.Stage) }},
	{Name: "lead", Units: "day", Long: "days from issue to sighting", Field: func(c *Case) any { return &c.Lead }},
	{Name: "issue", Long: "date of issue", Field: func(c *Case) any { return &c.Issue }},
	{Name: "day", Long: "day of the sighting", Field: func(c *Case) any { return &c.Day }},
	{Name: "watched", Units: "hour", Long: "time watched", Field: func(c *Case) any { return &c.Hours }},
	{Name: "p", Units: "1", Long: "chance of a sighting in the time watched", Field: func(c *Case) any { return &c.P }},
	{Name: "p_calendar", Units: "1", Long: "the same from the calendar alone", Field: func(c *Case) any { return &c.Calendar }},
	{Name: "p_plain_calendar", Units: "1", Long: "the same from the calendar that takes all past seasons alike", Field: func(c *Case) any { return &c.Plain }},
	{Name: "p_last_year", Units: "1", Long: "the same from the calendar's curve moved to last year's date", Field: func(c *Case) any { return &c.Last }},
	{Name: "seen", Long: "whether more than a few stray insects were seen", Field: func(c *Case) any { return &c.Seen }},
}}

// AllDates goes through the dates of every slice.
func (o *Outcome) AllDates() iter.Seq2[DateCase, error] {
	return all(o, func(s *Shard) []DateCase { return s.Dates })
}

// AllCases goes through the sightings of every slice.
func (o *Outcome) AllCases() iter.Seq2[Case, error] {
	return all(o, func(s *Shard) []Case { return s.Cases })
}

func all[T any](o *Outcome, of func(*Shard) []T) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for i := range o.Shards {
			for _, x := range of(&o.Shards[i]) {
				if !yield(x, nil) {
					return
				}
			}
		}
	}
}
