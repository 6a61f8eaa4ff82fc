package civil

import (
	"fmt"
	"time"
)

// Date is a calendar date as days since 1970-01-01. Dates compare and subtract as
// numbers. The zero Date stands for an unknown one.
type Date int

// DateOf is the date of t in t's own location.
func DateOf(t time.Time) Date {
	return Date(time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// Parse reads a date written 2006-01-02.
func Parse(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return 0, fmt.Errorf("reading a date: %w", err)
	}
	return DateOf(t), nil
}

// Time is midnight UTC of the date: a label, not an instant.
func (d Date) Time() time.Time { return time.Unix(int64(d)*86400, 0).UTC() }

// String writes the date as 2006-01-02.
func (d Date) String() string { return d.Time().Format(time.DateOnly) }

// Short writes the date for people, as 2 Jan; "-" for an unknown one.
func (d Date) Short() string {
	if d == 0 {
		return "-"
	}
	return d.Time().Format("2 Jan")
}

// MarshalText writes the date as 2006-01-02.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what MarshalText writes.
func (d *Date) UnmarshalText(b []byte) (err error) {
	*d, err = Parse(string(b))
	return err
}
