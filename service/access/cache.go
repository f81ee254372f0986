package access

import (
	"sync"
	"time"

	"github.com/google/uuid"
)

// cache keeps the holders of keys for a short time.
type cache struct {
	limit int
	keep  time.Duration

	mu    sync.Mutex
	byKey map[[32]byte]known
	// forgotten counts what was forgotten: an answer that was on its way
	// meanwhile may be out of date and is not kept.
	forgotten uint64
}

type known struct {
	holder Holder
	until  time.Time
}

func newCache(limit int, keep time.Duration) *cache {
	return &cache{limit: limit, keep: keep, byKey: map[[32]byte]known{}}
}

func (c *cache) get(hash [32]byte, now time.Time) (Holder, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	k, ok := c.byKey[hash]
	if !ok || !now.Before(k.until) {
		return Holder{}, false
	}
	return k.holder, true
}

// state is to be asked before a look-up and given to put after it.
func (c *cache) state() uint64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.forgotten
}

func (c *cache) put(hash [32]byte, h Holder, now time.Time, before uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.forgotten != before {
		return
	}
	if len(c.byKey) >= c.limit {
		c.makeRoom(now)
	}
	c.byKey[hash] = known{holder: h, until: now.Add(c.keep)}
}

// makeRoom drops what is over, and if nothing is, any one.
func (c *cache) makeRoom(now time.Time) {
	for hash, k := range c.byKey {
		if !now.Before(k.until) {
			delete(c.byKey, hash)
		}
	}
	for hash := range c.byKey {
		if len(c.byKey) < c.limit {
			return
		}
		delete(c.byKey, hash)
	}
}

// claimNote gives one caller the task of writing a key's use, and remembers it
// as written.
func (c *cache) claimNote(hash [32]byte, now time.Time) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	k, ok := c.byKey[hash]
	if !ok {
		return true // not kept: the statement itself sees to it
	}
	if last := k.holder.LastUsedAt; last != nil && now.Sub(*last) < usedEvery {
		return false
	}
	k.holder.LastUsedAt = &now
	c.byKey[hash] = k
	return true
}

func (c *cache) forget(org uuid.UUID) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.forgotten++
	for hash, k := range c.byKey {
		if k.holder.Org == org {
			delete(c.byKey, hash)
		}
	}
}

func (c *cache) forgetAll() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.forgotten++
	clear(c.byKey)
}
