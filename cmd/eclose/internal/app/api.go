package app

import (
	"net/http"
	"os"

	"example.org/eclose/cmd/eclose/internal/api"
	pages "example.org/eclose/cmd/eclose/internal/page"
)

// API is what other programs read: the data of the pages, and every issued outlook.
func (s *Server) API() (http.Handler, error) {
	return api.New(api.Options{
		Data: s.data.Memory, Issues: s.work.Archive, Catalogue: s.work.Catalogue, Now: s.queue.Now, PublicURL: s.cfg.Serve.PublicURL, Notice: s.cfg.Notice,
		Credits: pages.Credits(s.data.Rivers(), Owners(s.cfg)), Reports: os.DirFS(s.cfg.Path(s.cfg.Serve.Report)),
		ClientOf: clientOf(trustedProxies(s.cfg.Serve.Proxies)), Log: &s.log,
	})
}
