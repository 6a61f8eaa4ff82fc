package series

import (
	"context"
	"fmt"
	"slices"

	"example.org/eclose/ingest"
)

// SetFlags stores the columns Flag and FlagTest of a series that was read from
// this store and then checked. A flag is set only on the very reading that was
// checked: one that has been replaced since (its retrieval time differs) keeps
// what it has, because the check did not see it. It returns how many flags
// changed. No reading becomes another by it, so nothing is a revision.
func (s *Store) SetFlags(ctx context.Context, checked ingest.Series) (int, error) {
	if err := s.mayWrite(); err != nil {
		return 0, err
	}
	if err := checked.Check(); err != nil {
		return 0, fmt.Errorf("setting flags: %w", err)
	}
	if n := checked.Len(); len(checked.Flag) != n || len(checked.FlagTest) != n || len(checked.Retrieved) != n {
		return 0, fmt.Errorf("setting flags of %s: flags, their tests and the retrieval times as read must all be there", checked.Key)
	}
	if _, err := s.find(ctx, checked.Key); err != nil {
		return 0, fmt.Errorf("setting flags: %w", err)
	}
	c, err := s.change(ctx, bundleOf(checked.Key), func(x *index, b *batch) (Change, error) {
		rows := tableOf(&checked, 0)
		rows.retrieved = checked.Retrieved
		var total Change
		for _, piece := range b.split(&rows) {
			n, err := b.flagSpan(ctx, x, piece.span, &piece.rows)
			if err != nil {
				return Change{}, err
			}
			total.Reflagged += n
		}
		return total, nil
	})
	if err != nil {
		return 0, fmt.Errorf("setting flags of %s: %w", checked.Key, err)
	}
	return c.Reflagged, nil
}

func (b *batch) flagSpan(ctx context.Context, x *index, sp span, rows *table) (int, error) {
	at := slices.IndexFunc(x.Parts, func(p part) bool { return p.Span == sp.name && !p.Past })
	if at < 0 {
		return 0, nil
	}
	now, err := b.store.readPart(ctx, x.Bundle, &x.Parts[at], allColumns, wanted{all: true})
	if err != nil {
		return 0, err
	}
	n, i := 0, 0
	for j := range rows.len() {
		for i < now.len() && before(&now, i, rows, j) < 0 {
			i++
		}
		if i == now.len() || before(&now, i, rows, j) != 0 || now.retrieved[i] != rows.retrieved[j] {
			continue
		}
		if f := honestFlag(rows.flag[j], now.value[i]); now.flag[i] != f || now.test[i] != rows.test[j] {
			now.flag[i], now.test[i] = f, rows.test[j]
			n++
		}
	}
	if n == 0 {
		return 0, nil
	}
	x.Parts = slices.Delete(x.Parts, at, at+1)
	return n, b.write(ctx, x, sp.name, false, &now)
}
