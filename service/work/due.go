package work

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/care/caution"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// DueItem is one piece of due work with its routine.
type DueItem struct {
	care.Item
	Routine Routine
	Zone    string
	Today   care.Day // the site's own, or the day that was asked for
	// Cautions are those of the species that live in the tank.
	Cautions []caution.Caution
}

// key gives the item's place in the order of due work.
func (d DueItem) key() DueKey {
	f := d.Routine.Fields
	return DueKey{f.Class, d.Latest, f.TankID, f.WorkKind, d.Routine.ID, d.NominalDue, d.Ordinal}
}

// key gives the row's place: that of its oldest unfinished item, so that
// merging never moves late work back.
func (r DueRow) key() DueKey {
	it, f := r.Stored.Item, r.Routine.Fields
	return DueKey{f.Class, it.Latest, f.TankID, f.WorkKind, r.Routine.ID, it.NominalDue, it.Ordinal}
}

func (k DueKey) compare(o DueKey) int {
	return cmp.Or(
		cmp.Compare(k.Class, o.Class),
		cmp.Compare(k.Latest, o.Latest),
		slices.Compare(k.Tank[:], o.Tank[:]),
		strings.Compare(string(k.Kind), string(o.Kind)),
		slices.Compare(k.Routine[:], o.Routine[:]),
		cmp.Compare(k.NominalDue, o.NominalDue),
		cmp.Compare(k.Ordinal, o.Ordinal),
	)
}

// DueQuery asks for due work.
type DueQuery struct {
	DueFilter
	On  *care.Day // nil: each site's own today
	Now time.Time
}

// Due lists due work: of each site's own today when On is nil, else what was
// open at the end of a past day, or what is planned on a coming one.
func (s *Service) Due(ctx context.Context, sc tx.Scope, q DueQuery, p resource.Paging) (resource.Page[DueItem], error) {
	after, err := decodeDueKey(p.After)
	if err != nil {
		return resource.Page[DueItem]{}, err
	}
	if q.On == nil {
		return s.dueToday(ctx, sc, q, after, p.Limit)
	}
	return s.dueOn(ctx, sc, q, after, p.Limit)
}

// PerformedBy gives who does the work.
func (d DueItem) PerformedBy() care.Performer {
	return d.Item.PerformedBy(d.Routine.Fields.PerformedBy)
}

// wants says whether an item is of the state and for the performer asked for.
func (q *DueQuery) wants(d DueItem) bool {
	return (q.State == "" || q.State == d.State) && (q.DueFilter.PerformedBy == "" || q.DueFilter.PerformedBy == d.PerformedBy())
}

// aheadOfUTC is how far the local date may be ahead of the date of UTC.
const aheadOfUTC = 14 * time.Hour

// leastRows is how many rows are read at once where a state is asked for, which
// few of them may be in.
const leastRows = 500

// dueToday walks the stored rows in order and stops after the row that fills
// the page; only rows whose stored item may no longer be all are folded.
func (s *Service) dueToday(ctx context.Context, sc tx.Scope, q DueQuery, after *DueKey, limit int) (resource.Page[DueItem], error) {
	var page resource.Page[DueItem]
	size := limit
	if q.State != "" {
		size = max(size, leastRows)
	}
	for first := true; ; first = false {
		rows, head, err := s.reads.DueRows(ctx, sc, q.DueFilter, DuePage{
			UpTo: care.DayOf(q.Now.Add(aheadOfUTC).UTC()), After: after, Limit: size + 1,
		})
		if err != nil {
			return page, err
		}
		if first {
			page.Head = head // a change between two reads makes the page old at once
		}
		more := len(rows) > size
		if more {
			rows = rows[:size]
		}
		items, err := s.expand(ctx, sc, rows, q.Now)
		if err != nil {
			return page, err
		}
		for i, row := range rows {
			for _, it := range items[i] {
				if q.wants(it) {
					page.Items = append(page.Items, it)
				}
			}
			if k := row.key(); len(page.Items) >= limit && (more || i+1 < len(rows)) {
				page.Next = resource.EncodeCursor(k)
				return page, nil
			} else {
				after = &k
			}
		}
		if !more {
			return page, nil
		}
	}
}

// expand gives the items open on each row's own today.
func (s *Service) expand(ctx context.Context, sc tx.Scope, rows []DueRow, now time.Time) ([][]DueItem, error) {
	out := make([][]DueItem, len(rows))
	var fold []uuid.UUID
	today := make([]care.Day, len(rows))
	for i, r := range rows {
		today[i] = fleet.Today(r.Zone, now)
		open, enough := r.Stored.On(today[i])
		if !enough {
			fold = append(fold, r.Routine.ID)
			continue
		}
		out[i] = dueItems(r.Routine, r.Zone, r.Cautions, today[i], open)
	}
	if len(fold) == 0 {
		return out, nil
	}
	plans, _, err := s.reads.Plans(ctx, sc, fold, DueFilter{}, false)
	if err != nil {
		return nil, err
	}
	byID := make(map[uuid.UUID]Plan, len(plans))
	for _, p := range plans {
		byID[p.Routine.ID] = p
	}
	for i, r := range rows {
		if p, ok := byID[r.Routine.ID]; ok && slices.Contains(fold, r.Routine.ID) {
			out[i] = dueItems(p.Routine, p.Zone, p.Cautions, today[i], care.OpenOn(p.History, today[i]))
		}
	}
	return out, nil
}

func dueItems(r Routine, zone string, cautions []caution.Caution, today care.Day, open []care.Item) []DueItem {
	out := make([]DueItem, len(open))
	for i, it := range open {
		out[i] = DueItem{Item: it, Routine: r, Zone: zone, Today: today, Cautions: cautions}
	}
	return out
}

// greatestAhead is how far into the future due work is planned.
const greatestAhead = 400

// dueOn folds every routine that fits: slower, and asked for rarely.
func (s *Service) dueOn(ctx context.Context, sc tx.Scope, q DueQuery, after *DueKey, limit int) (resource.Page[DueItem], error) {
	var page resource.Page[DueItem]
	on := *q.On
	if on > care.DayOf(q.Now.UTC())+greatestAhead {
		return page, fault.Malformed("A parameter cannot be used.", fault.Field{Pointer: "on", Message: "may be at most 400 days ahead"})
	}
	f := q.DueFilter
	f.PerformedBy = "" // a closed day may give the work to the keeper: see wants
	plans, head, err := s.reads.Plans(ctx, sc, nil, f, true)
	if err != nil {
		return page, err
	}
	page.Head = head
	for _, p := range plans {
		today := fleet.Today(p.Zone, q.Now)
		var items []care.Item
		if on <= today {
			items = care.OpenOn(p.History, on)
		} else {
			items = care.PlannedOn(p.History, today, on)
		}
		for _, it := range dueItems(p.Routine, p.Zone, p.Cautions, on, items) {
			if q.wants(it) && (after == nil || it.key().compare(*after) > 0) {
				page.Items = append(page.Items, it)
			}
		}
	}
	slices.SortFunc(page.Items, func(a, b DueItem) int { return a.key().compare(b.key()) })
	if len(page.Items) > limit {
		page.Items = page.Items[:limit]
		page.Next = resource.EncodeCursor(page.Items[limit-1].key())
	}
	return page, nil
}

func decodeDueKey(s string) (*DueKey, error) {
	if s == "" {
		return nil, nil //nolint:nilnil // no cursor: from the beginning
	}
	k, err := resource.DecodeCursor[DueKey](s)
	if err == nil && strings.ContainsRune(string(k.Kind), 0) {
		err = resource.BadCursor()
	}
	return &k, err
}
