package alert

import (
	"testing"

	"example.org/eclose/notify/alert/internal/sqlc"
)

// An outbox may hold emails that an older program queued.
func TestAnEmailQueuedUnderOldNamesIsRead(t *testing.T) {
	for _, body := range []string{
		`[{"kind":"standing","river":"wend","level":3,"told":"flood.wend=2"},{"kind":"warning"}]`,
		`[{"kind":"standing","river":"wend","level":3,"known_warnings":"flood.wend=2"},{"kind":"warning"}]`,
	} {
		got, err := itemsOf(sqlc.Outbox{Body: body})
		if err != nil || len(got) != 2 || got[0].KnownWarnings != "flood.wend=2" || got[0].Kind != KindStillHigh || got[0].Level != 3 || got[1].KnownWarnings != "" {
			t.Errorf("%s: %+v, %v", body, got, err)
		}
		again, err := bodyOf(got)
		if err != nil {
			t.Fatal(err)
		}
		if kept, err := itemsOf(sqlc.Outbox{Body: again}); err != nil || len(kept) != 2 || kept[0] != got[0] {
			t.Errorf("written again: %+v, %v", kept, err)
		}
	}
}
