package work

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// RecordWork stores records of work, all or none, and says what came of each.
// single is true when the body was one record and not a list.
func (s *Service) RecordWork(ctx context.Context, c tx.Call[[]Recorded], records []NewRecord, single bool) (tx.Outcome[[]Recorded], error) {
	var wrong []fault.Field
	for i, r := range records {
		wrong = append(wrong, r.validate(placeOf(i, single))...)
	}
	if err := fault.Check(wrong); err != nil {
		return tx.Outcome[[]Recorded]{}, err
	}
	return tx.Do(ctx, s.run, c, func(ctx context.Context, t Tx) ([]Recorded, tx.Trail, error) {
		b := batch{t: t, call: c.Scope, now: c.Now, newID: s.newID}
		return b.run(ctx, records, single)
	})
}

func placeOf(i int, single bool) string {
	if single {
		return ""
	}
	return "/" + strconv.Itoa(i)
}

// place finds where each record belongs and locks the tanks by id.
func (b *batch) place(ctx context.Context, records []NewRecord, single bool) ([]Place, error) {
	places := make([]Place, len(records))
	var tanks []uuid.UUID
	for i, r := range records {
		p, err := b.placeRecord(ctx, r, placeOf(i, single))
		if err != nil {
			return nil, err
		}
		places[i] = p
		tanks = append(tanks, p.TankID)
	}
	slices.SortFunc(tanks, func(a, b uuid.UUID) int { return slices.Compare(a[:], b[:]) })
	for _, id := range slices.Compact(tanks) {
		if _, err := b.t.Tanks().Load(ctx, id); err != nil {
			return nil, err
		}
	}
	return places, nil
}

func (b *batch) placeRecord(ctx context.Context, r NewRecord, at string) (Place, error) {
	if r.RoutineID != uuid.Nil {
		p, err := b.t.RoutinePlace(ctx, r.RoutineID)
		if fault.Is(err, fault.NotFound) {
			return p, fault.InvalidField(at+"/routine_id", "there is no routine %s in this organisation", r.RoutineID)
		}
		return p, err
	}
	p, err := b.t.TankPlace(ctx, r.TankID)
	if fault.Is(err, fault.NotFound) {
		return p, fault.InvalidField(at+"/tank_id", "there is no tank %s in this organisation", r.TankID)
	}
	p.WorkKind = r.WorkKind
	return p, err
}

// run stores the records and folds what they touch.
func (b *batch) run(ctx context.Context, records []NewRecord, single bool) ([]Recorded, tx.Trail, error) {
	places, err := b.place(ctx, records, single)
	if err != nil {
		return nil, tx.Trail{}, err
	}
	out := make([]Recorded, len(records))
	var trail tx.Trail
	for i, r := range records {
		one, more, err := b.store(ctx, r, places[i], placeOf(i, single))
		if err != nil {
			return nil, tx.Trail{}, err
		}
		out[i] = one
		trail.Add(more)
	}
	if err := b.fold(ctx, out); err != nil {
		return nil, tx.Trail{}, err
	}
	return out, trail, nil
}

// store adds one record and its readings.
func (b *batch) store(ctx context.Context, r NewRecord, p Place, at string) (Recorded, tx.Trail, error) {
	hash, err := resource.Hash(r)
	if err != nil {
		return Recorded{}, tx.Trail{}, err
	}
	if r.ID != uuid.Nil {
		// Before anything is checked: what was right then may no longer be.
		if old, err := b.repeated(ctx, r.ID, hash, at); !fault.Is(err, fault.NotFound) {
			return Recorded{Record: old}, tx.Trail{}, err
		}
	}
	rec, readings, err := b.complete(ctx, r, p, at)
	if err != nil {
		return Recorded{}, tx.Trail{}, err
	}
	added, err := b.t.InsertRecord(ctx, rec, hash)
	if err != nil {
		return Recorded{}, tx.Trail{}, err
	}
	if !added {
		return Recorded{}, tx.Trail{}, tx.ErrAgain
	}
	if len(readings) > 0 {
		if err := b.t.InsertReadings(ctx, readings); err != nil {
			return Recorded{}, tx.Trail{}, err
		}
	}
	return Recorded{Record: rec, New: true}, tx.Did(tx.Change{
		Resource: "work_record", Action: "created", ID: rec.ID, Site: rec.SiteID, Tank: rec.TankID, Fields: []string{string(rec.Result)},
	}), nil
}

// repeated gives the record when the id is taken by the very same one; NotFound
// when it is not taken.
func (b *batch) repeated(ctx context.Context, id uuid.UUID, hash [32]byte, at string) (Record, error) {
	was, err := b.t.RecordHash(ctx, id)
	if err != nil {
		return Record{}, err
	}
	if was != hash {
		return Record{}, fault.ConflictField(at+"/id",
			"a record with the id %s exists already with other content; records never change: void it and record anew", id)
	}
	return b.t.LoadRecord(ctx, id)
}

// complete fills in what the service decides: the day, who did it, readings.
func (b *batch) complete(ctx context.Context, r NewRecord, p Place, at string) (Record, []Reading, error) {
	zone := fleet.Location(p.Zone)
	day, wrong := r.dayOf(zone, b.now, at)
	if len(wrong) == 0 {
		wrong = b.checkSkip(r, p, day, at)
	}
	if len(wrong) > 0 {
		return Record{}, nil, fault.InvalidFields(wrong...)
	}
	if r.ID == uuid.Nil {
		r.ID = b.newID()
	}
	if r.DoneBy == nil || *r.DoneBy == (DoneBy{Kind: "member"}) {
		r.DoneBy = &DoneBy{Kind: "member", ID: b.call.Actor}
	}
	if err := b.checkMember(ctx, *r.DoneBy, at); err != nil {
		return Record{}, nil, err
	}
	r.DoneOn, r.TankID, r.WorkKind = &day, p.TankID, p.WorkKind
	rec := Record{NewRecord: r, SiteID: p.SiteID, ReceivedAt: b.now, RecordedBy: b.call.Actor}
	readings, err := b.readings(ctx, rec, at)
	return rec, readings, err
}

// checkMember refuses work said to be done by a member who is none here.
func (b *batch) checkMember(ctx context.Context, by DoneBy, at string) error {
	if by.Kind != "member" || by.ID == uuid.Nil || by.ID == b.call.Actor {
		return nil
	}
	known, err := b.t.HasMember(ctx, by.ID, true)
	if err == nil && !known {
		return fault.InvalidField(at+"/done_by/id", "there is no member %s in this organisation", by.ID)
	}
	return err
}

// checkSkip lets life support be skipped only by a coordinator, to that day or
// the next.
func (b *batch) checkSkip(r NewRecord, p Place, day care.Day, at string) []fault.Field {
	if r.Result != care.Skipped {
		return nil
	}
	if p.Class != care.LifeSupport {
		if r.NewDueOn != nil {
			return []fault.Field{{Pointer: at + "/new_due_on", Message: "belongs to skipping life support only; leave it out"}}
		}
		return nil
	}
	if b.call.Role != tx.Owner && b.call.Role != tx.Coordinator {
		return []fault.Field{{Pointer: at + "/result", Message: "life support may be skipped by a coordinator only; ask one, or record it as done or no_access"}}
	}
	if r.NewDueOn == nil || *r.NewDueOn < day || *r.NewDueOn > day+1 {
		return []fault.Field{{Pointer: at + "/new_due_on", Message: fmt.Sprintf("is needed to skip life support: %s or %s", day, day+1)}}
	}
	return nil
}

// firstReading is when the store of readings begins.
var firstReading = time.Date(2000, time.January, 1, 0, 0, 0, 0, time.UTC)

func (b *batch) readings(ctx context.Context, r Record, at string) ([]Reading, error) {
	if len(r.Readings) == 0 {
		return nil, nil
	}
	known, err := b.t.Parameters(ctx)
	if err != nil {
		return nil, err
	}
	var c fleet.Checks
	out := make([]Reading, len(r.Readings))
	for i, in := range r.Readings {
		here := fmt.Sprintf("%s/readings/%d", at, i)
		p, ok := known[in.Parameter]
		switch {
		case !ok:
			c.Add(here+"/parameter", "%q is not measured here; GET /v1/parameters lists what is", in.Parameter)
		case in.Unit != "" && in.Unit != p.Unit:
			c.Add(here+"/unit", "must be %s for %s", p.Unit, in.Parameter)
		case !(in.Value >= p.Low && in.Value <= p.High):
			c.Add(here+"/value", "must be between %g and %g %s; look at the instrument again", p.Low, p.High, p.Unit)
		case in.TakenAt.After(b.now.Add(phoneClock)):
			c.Add(here+"/taken_at", "lies in the future")
		case !in.TakenAt.IsZero() && in.TakenAt.Before(firstReading):
			c.Add(here+"/taken_at", "lies before %s, from which day on readings are kept", firstReading.Format(time.DateOnly))
		}
		taken := in.TakenAt
		if taken.IsZero() {
			taken = b.now
			if r.DoneAt != nil {
				taken = *r.DoneAt
			}
		}
		out[i] = Reading{
			ID: b.newID(), TankID: r.TankID, Parameter: in.Parameter, Value: in.Value, Unit: p.Unit,
			TakenAt: taken, Method: in.Method, RecordID: r.ID,
		}
	}
	return out, c.Err()
}
