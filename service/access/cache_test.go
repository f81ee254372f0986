package access

import (
	"testing"
	"time"

	"github.com/google/uuid"
)

var noon = time.Date(2026, time.March, 9, 12, 0, 0, 0, time.UTC)

func TestCacheIsBounded(t *testing.T) {
	t.Parallel()
	c := newCache(10, time.Minute)
	h := Holder{Org: uuid.Max}
	for i := range 100 {
		c.put([32]byte{byte(i)}, h, noon.Add(time.Duration(i)*time.Second), c.state())
		if len(c.byKey) > 10 {
			t.Fatalf("%d keys are kept, at most 10 may be", len(c.byKey))
		}
		if _, ok := c.get([32]byte{byte(i)}, noon.Add(time.Duration(i)*time.Second)); !ok {
			t.Fatal("the newest is not kept")
		}
	}
	late := noon.Add(time.Hour)
	c.put([32]byte{200}, h, late, c.state())
	if len(c.byKey) != 1 {
		t.Errorf("%d keys are kept when all others are over", len(c.byKey))
	}
}

func TestWhatWasForgottenMeanwhileIsNotKept(t *testing.T) {
	t.Parallel()
	for name, forget := range map[string]func(*cache){
		"all": (*cache).forgetAll,
		"one": func(c *cache) { c.forget(uuid.Max) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := newCache(10, time.Minute)
			before := c.state()
			forget(c)
			c.put([32]byte{1}, Holder{Org: uuid.Max}, noon, before)
			if _, ok := c.get([32]byte{1}, noon); ok {
				t.Error("the answer of before is kept")
			}
			c.put([32]byte{1}, Holder{Org: uuid.Max}, noon, c.state())
			if _, ok := c.get([32]byte{1}, noon); !ok {
				t.Error("the answer of after is not kept")
			}
		})
	}
}
