package main

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// questions asks somebody at a terminal, one line a question. Where asks is false, or no
// more answers come, every question has its default.
type questions struct {
	in   *bufio.Scanner
	out  io.Writer
	asks bool
}

func newQuestions(e *env, silent bool) *questions {
	return &questions{in: bufio.NewScanner(e.stdin), out: e.stdout, asks: !silent}
}

func (q *questions) say(format string, args ...any) { fmt.Fprintf(q.out, format+"\n", args...) }

// text asks for a line; an empty one takes the default.
func (q *questions) text(question, otherwise string) string {
	if !q.asks {
		return otherwise
	}
	if otherwise != "" {
		question += " [" + otherwise + "]"
	}
	fmt.Fprintf(q.out, "%s\n> ", question)
	if !q.in.Scan() {
		q.asks = false // nobody answers any more
		fmt.Fprintln(q.out)
		return otherwise
	}
	if s := strings.TrimSpace(q.in.Text()); s != "" {
		return s
	}
	return otherwise
}

// yes asks for yes or no.
func (q *questions) yes(question string, otherwise bool) bool {
	word := map[bool]string{true: "yes", false: "no"}[otherwise]
	for {
		switch strings.ToLower(q.text(question, word)) {
		case "yes", "y":
			return true
		case "no", "n":
			return false
		}
		q.say("Write yes or no.")
	}
}

// choose asks for one of some lines, the first if nothing is said; -1 for none of them.
func (q *questions) choose(question string, lines []string) int {
	if !q.asks {
		return 0
	}
	for i, l := range lines {
		q.say("%3d  %s", i+1, l)
	}
	for {
		s := q.text(question+" 0 for none of them.", "1")
		if n, err := strconv.Atoi(s); err == nil && n >= 0 && n <= len(lines) {
			return n - 1
		}
		q.say("Write a number from 0 to %d.", len(lines))
	}
}

// zone asks for a time zone.
func (q *questions) zone(otherwise string) string {
	for {
		s := q.text("Time zone of the river?", otherwise)
		if _, err := time.LoadLocation(s); err == nil && s != "Local" {
			return s
		}
		q.say("%q is not a time zone; write area/city, such as America/Denver.", s)
		if !q.asks {
			return "UTC"
		}
	}
}
