package app

import (
	"io"
	"os"
	"regexp"
	"strings"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/term"
)

// NewLogger writes for people on a terminal, in colours unless NO_COLOR is set
// (no-color.org), and as JSON elsewhere.
func NewLogger(w io.Writer, level string) zerolog.Logger {
	l, err := zerolog.ParseLevel(level)
	if err != nil {
		l = zerolog.InfoLevel // kong admits no other word
	}
	if f, ok := w.(interface{ Fd() uintptr }); ok && term.IsTerminal(int(f.Fd())) {
		w = zerolog.ConsoleWriter{Out: w, TimeFormat: time.TimeOnly, NoColor: os.Getenv("NO_COLOR") != ""}
	}
	return zerolog.New(w).Level(l).With().Timestamp().Logger()
}

// address is that of a request, as errors of HTTP begin with it.
var address = regexp.MustCompile(`(?:(?:Get|Post|Head) )?"?https?://[^\s"]+"?:? ?`)

// withoutAddress is an error for readers of a page, to whom the address of a
// request says nothing.
func withoutAddress(s string) string { return strings.TrimSpace(address.ReplaceAllString(s, "")) }

// OneLine is s without line breaks, cut to so many letters.
func OneLine(s string, most int) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}
