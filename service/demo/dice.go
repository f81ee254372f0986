package demo

import (
	"encoding/binary"
	"hash/fnv"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"

	"tankward/service/resource"
)

// dice throws what is left to chance. Each part of the scenario has its own, so
// that a change of one leaves the others as they were.
type dice struct{ r *rand.Rand }

func newDice(seed uint64, names ...string) dice {
	h := fnv.New64a()
	for _, n := range names {
		_, _ = h.Write([]byte(n))
		_, _ = h.Write([]byte{0})
	}
	return dice{rand.New(rand.NewPCG(seed, h.Sum64()))} //nolint:gosec // a scenario, no secret
}

// chance is true in so many cases of a hundred.
func (d dice) chance(percent float64) bool { return d.r.Float64()*100 < percent }

// between gives a whole number from low to high.
func (d dice) between(low, high int) int { return low + d.r.IntN(high-low+1) }

// pick gives one of a list.
func pick[T any](d dice, list []T) T { return list[d.r.IntN(len(list))] }

// id makes a UUIDv7 of an instant, as if the row had been made then.
func (d dice) id(at time.Time) uuid.UUID {
	var u uuid.UUID
	binary.BigEndian.PutUint64(u[:8], uint64(at.UnixMilli())<<16|d.r.Uint64()&0xffff) //nolint:gosec // after 1970
	binary.BigEndian.PutUint64(u[8:], d.r.Uint64())
	u[6] = u[6]&0x0f | 0x70
	u[8] = u[8]&0x3f | 0x80
	return u
}

// meta is that of a row that was made at an instant and not changed since.
func (d dice) meta(at time.Time) resource.Meta {
	return resource.Meta{ID: d.id(at), Version: 1, CreatedAt: at, UpdatedAt: at}
}
