package mark_test

import (
	"testing"

	"tankward/service/mark"
)

func TestKnown(t *testing.T) {
	t.Parallel()
	for _, m := range mark.All() {
		if !m.Known() {
			t.Errorf("%q is not known", m)
		}
	}
	for _, m := range []mark.Mark{"", "Published", "guess"} {
		if m.Known() {
			t.Errorf("%q is taken for a mark", m)
		}
	}
}
