package access

import (
	"bytes"
	"crypto/rand"
	"errors"
	"strings"
	"testing"
	"testing/iotest"

	"pgregory.net/rapid"
)

func TestSecretHasItsForm(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	used := map[rune]int{}
	for range 2000 {
		s, err := makeSecret(rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		if !wellFormed(s) || len(s) != 46 || !strings.HasPrefix(s, "tw_") {
			t.Fatalf("%q is no secret", s)
		}
		if seen[s] {
			t.Fatalf("%q was drawn twice", s)
		}
		seen[s] = true
		for _, r := range s[3:] {
			used[r]++
		}
	}
	// 86,000 characters, 1,387 of each expected; 1,000 and 1,800 lie ten standard
	// deviations away.
	for _, r := range base62 {
		if used[r] < 1000 || used[r] > 1800 {
			t.Errorf("%c was drawn %d times of 86,000", r, used[r])
		}
	}
}

// Every character comes from one byte; those that would favour some are left out.
func TestSecretIsWhatIsDrawn(t *testing.T) {
	t.Parallel()
	draw := append(bytes.Repeat([]byte{255, 248}, 10), bytes.Repeat([]byte{0, 61, 62, 247}, 11)...)
	s, err := makeSecret(bytes.NewReader(append(draw, make([]byte, 64)...)))
	if err != nil {
		t.Fatal(err)
	}
	if want := "tw_" + strings.Repeat("0z0z", 11)[:43]; s != want {
		t.Errorf("got %s, want %s", s, want)
	}
}

func TestNoSecretWithoutRandomness(t *testing.T) {
	t.Parallel()
	broken := errors.New("broken")
	for _, r := range []struct {
		name string
		err  error
	}{{"at once", broken}} {
		if s, err := makeSecret(iotest.ErrReader(r.err)); s != "" || !errors.Is(err, broken) {
			t.Errorf("%s: got %q, %v", r.name, s, err)
		}
	}
	if s, err := makeSecret(bytes.NewReader(make([]byte, 20))); s != "" || err == nil {
		t.Errorf("too little: got %q, %v", s, err)
	}
}

func TestWellFormed(t *testing.T) {
	t.Parallel()
	good := "tw_" + strings.Repeat("a", 43)
	for _, bad := range []string{
		"", "tw_", good[:45], good + "a", " " + good, good + "\n", "TW_" + good[3:], "tv_" + good[3:],
		good[:45] + "-", good[:44] + "é", good[:45] + "\x00", strings.Repeat("a", 46),
	} {
		if wellFormed(bad) {
			t.Errorf("%q passes", bad)
		}
	}
	if !wellFormed(good) {
		t.Error("a good one does not pass")
	}
	rapid.Check(t, func(t *rapid.T) {
		random := bytes.NewReader(rapid.SliceOfN(rapid.Byte(), 1000, 1000).Draw(t, "bytes"))
		if s, err := makeSecret(random); err == nil && !wellFormed(s) {
			t.Fatalf("%q", s)
		}
	})
}
