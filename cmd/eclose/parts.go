//go:build parts

package main

// The chosen parts, held in go.mod until each is in use; this file goes when
// the last of them is.
import (
	_ "github.com/BurntSushi/toml"
	_ "github.com/apache/arrow/go/v15/arrow/ipc"
	_ "github.com/apache/arrow/go/v15/parquet/file"
	_ "github.com/arran4/golang-ical"
	_ "github.com/chromedp/chromedp"
	_ "github.com/emersion/go-smtp"
	_ "github.com/google/go-cmp/cmp"
	_ "github.com/jackc/pgx/v5/pgxpool"
	_ "github.com/jackc/pgx/v5/stdlib"
	_ "github.com/pressly/goose/v3"
	_ "github.com/prometheus/client_golang/prometheus/promhttp"
	_ "github.com/riverqueue/river"
	_ "github.com/riverqueue/river/riverdriver/riverpgxv5"
	_ "github.com/riverqueue/river/riverdriver/riversqlite"
	_ "github.com/riverqueue/river/rivermigrate"
	_ "github.com/robfig/cron/v3"
	_ "github.com/rogpeppe/go-internal/testscript"
	_ "github.com/rs/zerolog"
	_ "github.com/vbauerster/mpb/v8"
	_ "github.com/wneessen/go-mail"
	_ "gocloud.dev/blob/fileblob"
	_ "gocloud.dev/blob/memblob"
	_ "gocloud.dev/blob/s3blob"
	_ "golang.org/x/net/html"
	_ "golang.org/x/sync/errgroup"
	_ "golang.org/x/term"
	_ "golang.org/x/time/rate"
	_ "gonum.org/v1/gonum/mat"
	_ "gonum.org/v1/gonum/optimize"
	_ "gonum.org/v1/gonum/stat/distuv"
	_ "gonum.org/v1/plot"
	_ "gonum.org/v1/plot/vg/vgimg"
	_ "gonum.org/v1/plot/vg/vgsvg"
	_ "modernc.org/sqlite"
)
