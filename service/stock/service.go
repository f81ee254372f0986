package stock

import (
	"context"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// Tx is what stock loads and saves in a transaction. Every method is bound to
// the transaction's organisation; another organisation's row is NotFound.
type Tx interface {
	fleet.TankLock
	// Species gives the store of own species.
	Species() resource.Store[SpeciesFields]
	// Livestock gives the store of livestock; its events are kept beside it.
	Livestock() resource.Store[LivestockFields]
	// LivestockTank says in which tank an entry is, without a lock.
	LivestockTank(ctx context.Context, id uuid.UUID) (uuid.UUID, error)
	// TankZone gives the time zone of a tank's site, without a lock.
	TankZone(ctx context.Context, tank uuid.UUID) (string, error)
	// TankRests says whether a pause of the whole tank is in force on a day or
	// begins later.
	TankRests(ctx context.Context, tank uuid.UUID, from care.Day) (bool, error)
	// LivestockOf counts the entries in use of an own species, empty ones too.
	LivestockOf(ctx context.Context, species uuid.UUID) (int, error)
	// LeastCount gives the lowest count of an entry on a day or after it.
	LeastCount(ctx context.Context, livestock uuid.UUID, from care.Day) (int, error)
	// InsertLivestockEvent adds an event, recorded by the transaction's actor,
	// unless its id is taken, and says whether it did. It leaves the count alone.
	InsertLivestockEvent(ctx context.Context, e Event, createHash [32]byte) (bool, error)
	// LivestockEventHash gives the hash an event was created from.
	LivestockEventHash(ctx context.Context, id uuid.UUID) ([32]byte, error)
	// LoadLivestockEvent gives an event.
	LoadLivestockEvent(ctx context.Context, id uuid.UUID) (Event, error)
}

// Reads is what stock reads outside of transactions; each method is one bound
// round trip.
type Reads interface {
	// Head gives the number of the organisation's last change.
	Head(ctx context.Context, s tx.Scope) (int64, error)
	// OwnSpecies gives one own species.
	OwnSpecies(ctx context.Context, s tx.Scope, id uuid.UUID) (OwnSpecies, error)
	// OwnSpeciesAfter gives up to limit own species after a place in the order of
	// the list, and the number of the organisation's last change.
	OwnSpeciesAfter(ctx context.Context, s tx.Scope, f SpeciesFilter, after SpeciesKey, limit int) ([]OwnSpecies, int64, error)
	// Livestock gives one entry; LivestockList lists them by id.
	Livestock(ctx context.Context, s tx.Scope, id uuid.UUID) (Livestock, error)
	LivestockList(ctx context.Context, s tx.Scope, f LivestockFilter, p resource.Paging) (resource.Page[Livestock], error)
	// LivestockEvents lists the events of an entry, the oldest day first;
	// NotFound when there is no such entry.
	LivestockEvents(ctx context.Context, s tx.Scope, livestock uuid.UUID, p resource.Paging) (resource.Page[Event], error)
}

// LivestockFilter narrows a list of livestock; an empty field doesn't.
type LivestockFilter struct {
	Tank    uuid.UUID
	Species SpeciesID
	State   State
}

// Service carries out what concerns species and livestock.
type Service struct {
	run       tx.Runner[Tx]
	reads     Reads
	newID     func() uuid.UUID
	Species   resource.Kind[Tx, SpeciesFields]
	Livestock resource.Kind[Tx, LivestockFields]
}

// New makes the service; newID makes ids of events that a command adds on its
// own.
func New(run tx.Runner[Tx], reads Reads, newID func() uuid.UUID) *Service {
	s := &Service{run: run, reads: reads, newID: newID}
	s.Species = resource.Kind[Tx, SpeciesFields]{
		Name: "species", Run: run, Store: Tx.Species, MayArchive: mayArchiveSpecies,
	}
	s.Livestock = resource.Kind[Tx, LivestockFields]{
		Name: "livestock", Run: run, Store: Tx.Livestock,
		Place: func(r Livestock) (uuid.UUID, uuid.UUID) { return uuid.Nil, r.Fields.TankID },
		Lock:  lockLivestock, Prepare: prepareLivestock, Follow: s.followLivestock, MayArchive: mayArchiveLivestock,
	}
	return s
}

// ChangeableSpecies gives the id under which a species is changed or archived:
// only an organisation's own may be. Conflict for one of the catalogue, NotFound
// for what is neither.
func ChangeableSpecies(id string) (uuid.UUID, error) {
	sp := ParseSpeciesID(id)
	if sp.Code == "" {
		return sp.Own, nil
	}
	if _, ok := ByCode(sp.Code); ok {
		return uuid.Nil, fault.ConflictWith(
			"The species %s belongs to the built-in catalogue, which cannot be changed. Add a species of your own and use its id.", sp)
	}
	return uuid.Nil, fault.NoSuch("species", sp)
}

func mayArchiveSpecies(ctx context.Context, t Tx, r OwnSpecies) error {
	n, err := t.LivestockOf(ctx, r.ID)
	if err == nil && n > 0 {
		return fault.ConflictWith("Livestock of this species is in use (entries: %d); archive it first.", n)
	}
	return err
}

// lockLivestock takes the tank's lock, which stands before the entry's own.
func lockLivestock(ctx context.Context, t Tx, id uuid.UUID) error {
	tank, err := t.LivestockTank(ctx, id)
	if err != nil {
		return err
	}
	_, err = t.Tanks().Load(ctx, tank)
	return err
}

func prepareLivestock(ctx context.Context, t Tx, old *Livestock, f LivestockFields, now time.Time) (LivestockFields, error) {
	if old != nil {
		f.Count = old.Fields.Count
		return f, settled(old.Fields, f)
	}
	if f.Count < 1 {
		return f, fault.InvalidField("/count", "must be 1 or more; an entry begins with animals that arrive")
	}
	tank, err := fleet.TankInUse(ctx, t, f.TankID)
	if err != nil {
		return f, err
	}
	zone, err := t.TankZone(ctx, f.TankID)
	if err != nil {
		return f, err
	}
	today := fleet.Today(zone, now)
	if f.ArrivedOn == 0 {
		f.ArrivedOn = today
	}
	if f.ArrivedOn > today {
		return f, fault.InvalidField("/arrived_on", "%s lies in the future: at the site today is %s; record animals when they are there", f.ArrivedOn, today)
	}
	if err := mayTakeAnimals(ctx, t, tank, today, "/tank_id"); err != nil {
		return f, err
	}
	counting, err := countingOf(ctx, t, f.Species)
	if f.Form == "" {
		f.Form = counting
	}
	return f, err
}

// countingOf gives how a species is counted. An own one is locked, so that it
// is not archived meanwhile.
func countingOf(ctx context.Context, t Tx, id SpeciesID) (Counting, error) {
	unknown := fault.InvalidField("/species_id", "there is no species %s; give a code of the catalogue or the id of a species of your own", id)
	if id.Code != "" {
		sp, ok := ByCode(id.Code)
		if !ok {
			return "", unknown
		}
		return sp.Counting, nil
	}
	own, err := t.Species().Load(ctx, id.Own)
	if fault.Is(err, fault.NotFound) {
		return "", unknown
	}
	if err == nil && own.ArchivedAt != nil {
		return "", fault.ConflictField("/species_id", "the species is archived")
	}
	return own.Fields.Counting, err
}

// mayTakeAnimals refuses animals for a tank whose care rests: nobody would come
// to look after them.
func mayTakeAnimals(ctx context.Context, t Tx, tank fleet.Tank, today care.Day, pointer string) error {
	rests, err := t.TankRests(ctx, tank.ID, today)
	if err != nil {
		return err
	}
	if rests || tank.Fields.Status == fleet.PausedTank {
		return fault.ConflictField(pointer, "the tank is paused, or will be; end its pause before animals go in")
	}
	return nil
}

// followLivestock records the arrival that an entry begins with.
func (s *Service) followLivestock(ctx context.Context, t Tx, old *Livestock, saved Livestock, now time.Time) (tx.Trail, error) {
	if old != nil {
		return tx.Trail{}, nil
	}
	day := saved.Fields.ArrivedOn
	hash, err := resource.Hash(NewEvent{LivestockID: saved.ID, Kind: Arrival, Day: &day, Delta: saved.Fields.Count})
	if err != nil {
		return tx.Trail{}, err
	}
	id := s.newID()
	added, err := t.InsertLivestockEvent(ctx, Event{
		ID: id, LivestockID: saved.ID, Kind: Arrival, Day: day, Delta: saved.Fields.Count, RecordedAt: now,
	}, hash)
	if err == nil && !added {
		err = eventTaken(id)
	}
	return tx.Trail{}, err
}

func mayArchiveLivestock(_ context.Context, _ Tx, r Livestock) error {
	if n := r.Fields.Count; n > 0 {
		return fault.ConflictWith("Animals are left (%d recorded); record their death or removal first.", n)
	}
	return nil
}

// AddEvent records why a count changed, and changes it. The same id with the
// same content is the same request. NotFound when there is no such entry.
func (s *Service) AddEvent(ctx context.Context, c tx.Call[Added], id uuid.UUID, n NewEvent) (tx.Outcome[Added], error) {
	if err := n.Validate(); err != nil {
		return tx.Outcome[Added]{}, err
	}
	hash, err := resource.Hash(n)
	if err != nil {
		return tx.Outcome[Added]{}, err
	}
	return tx.Do(ctx, s.run, c, func(ctx context.Context, t Tx) (Added, tx.Trail, error) {
		h, err := lockHome(ctx, t, n.LivestockID)
		if err != nil {
			return Added{}, tx.Trail{}, err
		}
		if again, err := repeatedEvent(ctx, t, id, hash); err != nil || again != nil {
			if err != nil {
				return Added{}, tx.Trail{}, err
			}
			return Added{Event: *again}, tx.Trail{}, nil
		}
		e := Event{
			ID: id, LivestockID: n.LivestockID, Kind: n.Kind, Delta: n.Delta, Reason: n.Reason,
			RecordedAt: c.Now, Actor: c.Scope.Actor,
		}
		if e.Day, err = h.mayHappen(ctx, t, n, c.Now); err != nil {
			return Added{}, tx.Trail{}, err
		}
		trail, err := saveEvent(ctx, t, h.entry, e, hash)
		return Added{Event: e, New: true}, trail, err
	})
}

// home is an entry with the tank it is in.
type home struct {
	tank  fleet.Tank
	entry Livestock
}

// lockHome locks the tank of an entry and then the entry.
func lockHome(ctx context.Context, t Tx, id uuid.UUID) (home, error) {
	var h home
	at, err := t.LivestockTank(ctx, id)
	if err != nil {
		return h, err
	}
	if h.tank, err = t.Tanks().Load(ctx, at); err != nil {
		return h, err
	}
	h.entry, err = t.Livestock().Load(ctx, id)
	return h, err
}

// repeatedEvent gives the event when the id is taken by the very same request.
func repeatedEvent(ctx context.Context, t Tx, id uuid.UUID, hash [32]byte) (*Event, error) {
	was, err := t.LivestockEventHash(ctx, id)
	if fault.Is(err, fault.NotFound) {
		return nil, nil //nolint:nilnil // nothing was recorded under this id before
	}
	if err != nil {
		return nil, err
	}
	if was != hash {
		return nil, eventTaken(id)
	}
	e, err := t.LoadLivestockEvent(ctx, id)
	return &e, err
}

func eventTaken(id uuid.UUID) error {
	return fault.ConflictField("/id", "an event with the id %s exists already with other content; leave id out or choose another", id)
}

// mayHappen gives the day of an event that the entry can take.
func (h home) mayHappen(ctx context.Context, t Tx, n NewEvent, now time.Time) (care.Day, error) {
	if h.entry.ArchivedAt != nil {
		return 0, fault.ConflictWith("This livestock is archived; animals that arrive make a new entry.")
	}
	zone, err := t.TankZone(ctx, h.tank.ID)
	if err != nil {
		return 0, err
	}
	today := fleet.Today(zone, now)
	if n.Delta > 0 {
		if h.tank.ArchivedAt != nil {
			return 0, fault.ConflictWith("The tank is archived; no animal can go in.")
		}
		if err := mayTakeAnimals(ctx, t, h.tank, today, "/delta"); err != nil {
			return 0, err
		}
	}
	day, err := n.on(h.entry.Fields.ArrivedOn, today)
	if err != nil {
		return day, err
	}
	least, err := t.LeastCount(ctx, h.entry.ID, day)
	if err != nil {
		return day, err
	}
	return day, n.fits(day, least, h.entry.Fields.Count)
}

// saveEvent adds the event and keeps the entry's count.
func saveEvent(ctx context.Context, t Tx, entry Livestock, e Event, hash [32]byte) (tx.Trail, error) {
	added, err := t.InsertLivestockEvent(ctx, e, hash)
	if err != nil {
		return tx.Trail{}, err
	}
	if !added {
		return tx.Trail{}, tx.ErrAgain // the same request came in meanwhile, or one with its id
	}
	entry.Fields.Count += e.Delta
	entry.UpdatedAt = e.RecordedAt
	entry.Version++
	if err := t.Livestock().Save(ctx, entry); err != nil {
		return tx.Trail{}, err
	}
	trail := tx.Did(tx.Change{
		Resource: "livestock", Action: string(e.Kind), ID: entry.ID, Tank: entry.Fields.TankID, Fields: []string{"count"},
	})
	trail.Audit[0].Reason = e.Reason
	return trail, nil
}
