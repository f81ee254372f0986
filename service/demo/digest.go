package demo

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash"
)

// Digest gives a text that is the same for the same rows.
func (w World) Digest() (string, error) {
	h := sha256.New()
	for _, o := range []*Org{&w.Business, &w.Club} {
		// The rows in thousands by what they say of the plan, the rest whole.
		for i := range o.Records {
			r := &o.Records[i]
			_, _ = h.Write(r.ID[:])
			number(h, int64(*r.DoneOn), r.DoneAt.UnixMicro(), int64(len(r.Result)), int64(r.Share), int64(len(r.Reason)))
		}
		for i := range o.Readings {
			r := &o.Readings[i]
			_, _ = h.Write(r.ID[:])
			number(h, r.TakenAt.UnixMicro(), int64(r.Value*1e6))
		}
		for i := range o.Settlements {
			s := o.Settlements[i].Settled.Stored
			number(h, int64(s.Item.NominalDue), int64(s.Item.Earliest), int64(s.Item.Due), int64(s.Item.Latest), int64(s.LateFrom), int64(s.NextEarliest))
		}
		for _, part := range []any{
			o.Organisation, o.Members, o.Customers, o.Sites, o.Notes, o.Closures, o.Tanks, o.Equipment, o.Livestock, o.Events,
			o.Routines, o.Pauses, o.RampEvents,
		} {
			text, err := json.Marshal(part)
			if err != nil {
				return "", fmt.Errorf("digest the scenario: %w", err)
			}
			_, _ = h.Write(text)
		}
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func number(h hash.Hash, list ...int64) {
	var b [8]byte
	for _, n := range list {
		binary.BigEndian.PutUint64(b[:], uint64(n)) //nolint:gosec // only to tell numbers apart
		_, _ = h.Write(b[:])
	}
}
