package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/mail"
	"example.org/eclose/notify/subscribe"
)

type bouncesCmd struct {
	Read bouncesReadCmd `cmd:"" help:"Process bounce messages from a maildir or file."`
}

type bouncesReadCmd struct {
	databaseFlag
	Path string `arg:"" help:"Maildir, or a file holding one message."`
	Keep bool   `help:"Leave processed messages in new/ instead of moving them to cur/. Nothing is deleted."`
}

func (c bouncesReadCmd) Run(e *env) error {
	files, maildir, err := reports(c.Path)
	if err != nil {
		return err
	}
	return c.write(e, func(d *db.DB) error {
		people, err := subscribe.New(e.ctx, d, subscribe.Names{}, e.now)
		if err != nil {
			return err
		}
		in := &bounceBox{e: e, people: people, mails: alert.New(d, e.now, nil)}
		for _, f := range files {
			if err := e.ctx.Err(); err != nil {
				return err
			}
			understood, err := in.read(f)
			if err != nil {
				return err
			}
			if understood && maildir && !c.Keep && filepath.Base(filepath.Dir(f)) == "new" {
				to := filepath.Join(c.Path, "cur", filepath.Base(f)+":2,S")
				if err := os.Rename(f, to); err != nil {
					return fmt.Errorf("noting that a report was read: %w", err)
				}
			}
		}
		fmt.Fprintf(e.stdout, "%d new bounces, %d already recorded, %d not delivery failures, %d need a human, %d unsubscribed\n", in.fresh, in.known, in.nothing, in.unread, in.unsubscribed)
		return nil
	})
}

// reports lists the files of a maildir, or the one file.
func reports(path string) (files []string, maildir bool, err error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, false, fmt.Errorf("reading bounces: %w", err)
	}
	if !info.IsDir() {
		return []string{path}, false, nil
	}
	for _, sub := range []string{"new", "cur"} {
		es, err := os.ReadDir(filepath.Join(path, sub))
		if err != nil {
			return nil, true, app.Usagef("%s is not a maildir: %w", path, err)
		}
		for _, x := range es {
			if x.Type().IsRegular() && !strings.HasPrefix(x.Name(), ".") {
				files = append(files, filepath.Join(path, sub, x.Name()))
			}
		}
	}
	slices.Sort(files)
	return files, true, nil
}

// bounceBox counts what became of the mails in the box.
type bounceBox struct {
	e                             *env
	people                        *subscribe.Store
	mails                         *alert.Store
	fresh, known, nothing, unread int
	unsubscribed                  int
}

func (in *bounceBox) read(file string) (understood bool, err error) {
	b, err := os.ReadFile(file)
	if err != nil {
		return false, fmt.Errorf("reading bounces: %w", err)
	}
	if token, ok := mail.ReadUnsubscribe(bytes.NewReader(b)); ok {
		err := in.people.Unsubscribe(in.e.ctx, token)
		if errors.Is(err, subscribe.ErrToken) { // that of a confirmation mail, perhaps
			err = in.people.Never(in.e.ctx, token)
		}
		if err == nil {
			in.unsubscribed++
			return true, nil
		}
		if !errors.Is(err, subscribe.ErrToken) {
			return false, err
		}
	}
	r, err := mail.ReadReport(bytes.NewReader(b))
	switch {
	case errors.Is(err, mail.ErrNotFailed):
		in.nothing++
		return true, nil
	case err != nil:
		in.unread++
		fmt.Fprintf(in.e.stderr, "%s: %v\n", file, err)
		return false, nil
	}
	person, err := in.mails.Recipient(in.e.ctx, r.Key)
	if errors.Is(err, db.ErrNotFound) {
		in.unread++
		fmt.Fprintf(in.e.stderr, "%s: refers to an unknown or deleted message\n", file)
		return false, nil
	}
	if err != nil {
		return false, err
	}
	// The report itself is its key: read twice, it counts once.
	sum := sha256.Sum256(b)
	fresh, err := in.people.Bounced(in.e.ctx, subscribe.Bounce{
		Person: person, Kind: r.Kind, Status: r.Status, Source: "report", Key: hex.EncodeToString(sum[:]), At: in.e.now(),
	})
	if err != nil {
		return false, err
	}
	if fresh {
		in.fresh++
	} else {
		in.known++
	}
	return true, nil
}
