package care

import (
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"strconv"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/google/uuid"
)

// divisor makes the random tests shorter: TANKWARD_RANDOM_DIVISOR, or 20 under
// -short.
func divisor(tb testing.TB) int {
	tb.Helper()
	if text := os.Getenv("TANKWARD_RANDOM_DIVISOR"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 {
			tb.Fatalf("TANKWARD_RANDOM_DIVISOR=%q is not a whole number from 1 on", text)
		}
		return n
	}
	if testing.Short() {
		return 20
	}
	return 1
}

// randomSeed gives the seed of a random test: TANKWARD_RANDOM_SEED, or a new one.
func randomSeed(tb testing.TB) uint64 {
	tb.Helper()
	n := rand.Uint64()
	if text := os.Getenv("TANKWARD_RANDOM_SEED"); text != "" {
		var err error
		if n, err = strconv.ParseUint(text, 10, 64); err != nil {
			tb.Fatalf("TANKWARD_RANDOM_SEED: %v", err)
		}
	}
	tb.Logf("TANKWARD_RANDOM_SEED=%d repeats this run", n)
	return n
}

// testID gives the nth id of a test; ids sort by n.
func testID(n int) uuid.UUID {
	var id uuid.UUID
	binary.BigEndian.PutUint32(id[:4], uint32(n))
	return id
}

// line gives an item in one line, as the worked examples write it.
func line(it Item) string {
	day := func(d Day) string { return d.String()[5:] }
	text := fmt.Sprintf("%s: %s to %s, due %s, %s", day(it.NominalDue), day(it.Earliest), day(it.Latest), day(it.Due), it.State)
	if it.Ordinal > 0 {
		text = fmt.Sprintf("%d. of ", it.Ordinal+1) + text
	}
	if it.LateSince != 0 {
		text += " since " + day(it.LateSince)
	}
	if it.DonePercent > 0 {
		text += fmt.Sprintf(", %d %% done", it.DonePercent)
	}
	if it.NoAccessCount > 0 {
		text += fmt.Sprintf(", no access %d", it.NoAccessCount)
	}
	if it.Level > 0 {
		text += fmt.Sprintf(", %v %%", it.Level)
	}
	return text
}

// differ is cmp.Diff, quick where there is no difference.
func differ(want, got any) string {
	if reflect.DeepEqual(want, got) {
		return ""
	}
	return cmp.Diff(want, got, cmpopts.EquateEmpty())
}
