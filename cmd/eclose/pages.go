package main

import (
	"fmt"
	"html"
	"net/http"
	"strings"
)

// pages is what the browser sees.
func (s *station) pages(*env) (http.Handler, error) {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/" {
			http.NotFound(w, r)
			return
		}
		var b strings.Builder
		for _, x := range s.house.Rivers {
			fmt.Fprintf(&b, "<li>%s</li>\n", html.EscapeString(x.Name))
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Security-Policy", "default-src 'none'")
		fmt.Fprintf(w, "<!doctype html>\n<html lang=en><title>Eclose</title>\n<h1>Rivers</h1>\n<ul>\n%s</ul>\n<p><a href=/health>How fresh this is</a>\n", b.String())
	}), nil
}
