package page

import (
	"fmt"
	"net/http"
	"time"

	"example.org/eclose/cmd/eclose/internal/health"
)

// statusRow is one check as the operator reads it.
type statusRow struct {
	health.Check
	Now, Most string
}

// status is the operator's page: every check of /health with its limit.
func (s *site) status(r *http.Request) (*answer, error) {
	if s.Checks == nil {
		return nil, errNotFound
	}
	var rows []statusRow
	for _, c := range s.Checks(r.Context()) {
		rows = append(rows, statusRow{c, measured(c.Value, c.Unit), measured(c.Limit, c.Unit)})
	}
	return &answer{name: "status", title: "Status", here: "diary", body: rows}, nil
}

func measured(v float64, unit string) string {
	switch unit {
	case "seconds":
		d := time.Duration(v * float64(time.Second))
		switch {
		case d.Abs() >= 48*time.Hour:
			return fmt.Sprintf("%.0f days", d.Hours()/24)
		case d.Abs() >= 2*time.Hour:
			return fmt.Sprintf("%.0f h", d.Hours())
		case d.Abs() >= 2*time.Minute:
			return fmt.Sprintf("%.0f min", d.Minutes())
		}
		return fmt.Sprintf("%.0f s", d.Seconds())
	case "bytes":
		return fmt.Sprintf("%.1f GB", v/1e9)
	case "ratio":
		return fmt.Sprintf("%.0f%%", 100*v)
	}
	return fmt.Sprintf("%g", v)
}
