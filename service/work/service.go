package work

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

// Service carries out the commands that move due work, and reads it.
type Service struct {
	run      tx.Runner[Tx]
	reads    Reads
	newID    func() uuid.UUID
	Sites    resource.Kind[Tx, fleet.SiteFields]
	Closures resource.Kind[Tx, fleet.ClosureFields]
	Tanks    resource.Kind[Tx, fleet.TankFields]
	Routines resource.Kind[Tx, RoutineFields]
	Pauses   resource.Kind[Tx, PauseFields]
}

// New makes the service; newID makes ids of rows that a command adds on its own.
func New(run tx.Runner[Tx], reads Reads, newID func() uuid.UUID) *Service {
	s := &Service{run: run, reads: reads, newID: newID}
	s.Sites = resource.Kind[Tx, fleet.SiteFields]{
		Name: "site", Run: run, Store: Tx.Sites,
		Place:   func(r fleet.Site) (uuid.UUID, uuid.UUID) { return r.ID, uuid.Nil },
		Prepare: prepareSite, Follow: followSite, MayArchive: mayArchiveSite,
	}
	s.Closures = resource.Kind[Tx, fleet.ClosureFields]{
		Name: "closure", Run: run, Store: Tx.Closures,
		Place: func(r fleet.Closure) (uuid.UUID, uuid.UUID) { return r.Fields.SiteID, uuid.Nil },
		Lock:  lockClosure, Prepare: prepareClosure, Follow: followClosure,
	}
	s.Tanks = resource.Kind[Tx, fleet.TankFields]{
		Name: "tank", Run: run, Store: Tx.Tanks,
		Place:   func(r fleet.Tank) (uuid.UUID, uuid.UUID) { return r.Fields.SiteID, r.ID },
		Lock:    lockTankPlace,
		Prepare: prepareTank, Follow: s.followTank, MayArchive: mayArchiveTank, Retire: retireTank,
	}
	s.Routines = resource.Kind[Tx, RoutineFields]{
		Name: "routine", Run: run, Store: Tx.Routines,
		Place: func(r Routine) (uuid.UUID, uuid.UUID) { return r.Fields.SiteID, r.Fields.TankID },
		Lock:  lockRoutine, Prepare: prepareRoutine, Follow: followRoutine, MayArchive: mayArchiveRoutine,
	}
	s.Pauses = resource.Kind[Tx, PauseFields]{
		Name: "pause", Run: run, Store: Tx.Pauses,
		Place: func(r Pause) (uuid.UUID, uuid.UUID) { return uuid.Nil, r.Fields.TankID },
		Lock:  lockPause, Prepare: preparePause, Follow: followPause,
	}
	return s
}

func prepareSite(ctx context.Context, t Tx, old *fleet.Site, f fleet.SiteFields, now time.Time) (fleet.SiteFields, error) {
	if old == nil {
		if _, err := t.ShareOrganisation(ctx); err != nil {
			return f, err
		}
	}
	if f.CustomerID != uuid.Nil && (old == nil || old.Fields.CustomerID != f.CustomerID) {
		if err := customerInUse(ctx, t, f.CustomerID); err != nil {
			return f, err
		}
	}
	if r := f.ResponsibleMember; r != uuid.Nil && (old == nil || old.Fields.ResponsibleMember != r) {
		known, err := t.HasMember(ctx, r, false)
		if err != nil {
			return f, err
		}
		if !known {
			return f, fault.InvalidField("/responsible_member_id", "there is no member %s in use in this organisation", r)
		}
	}
	f.AccessEnteredOn = fleet.Today(f.TimeZone, now)
	if old != nil && old.Fields.NoAccess() == f.NoAccess() {
		f.AccessEnteredOn = old.Fields.AccessEnteredOn
	}
	return f, nil
}

func customerInUse(ctx context.Context, t Tx, id uuid.UUID) error {
	c, err := t.Customers().Load(ctx, id)
	if fault.Is(err, fault.NotFound) {
		return fault.InvalidField("/customer_id", "there is no customer %s in this organisation", id)
	}
	if err == nil && c.ArchivedAt != nil {
		return fault.ConflictField("/customer_id", "the customer is archived")
	}
	return err
}

func followSite(ctx context.Context, t Tx, old *fleet.Site, saved fleet.Site, _ time.Time) (tx.Trail, error) {
	if old == nil || old.Fields.NoAccess() == saved.Fields.NoAccess() {
		return tx.Trail{}, nil
	}
	// The windows that were are not kept, so all history counts as known now.
	_, err := settle(ctx, t, Selection{Site: saved.ID, Since: care.MinDay})
	return tx.Trail{}, err
}

func mayArchiveSite(ctx context.Context, t Tx, r fleet.Site) error {
	n, err := t.TanksInUse(ctx, r.ID)
	if err == nil && n > 0 {
		return fault.ConflictWith("The site has %d tanks in use; archive them first.", n)
	}
	return err
}

// lockClosure locks what a closure shuts before the closure itself.
func lockClosure(ctx context.Context, t Tx, id uuid.UUID) error {
	site, err := t.ClosureSite(ctx, id)
	if err != nil {
		return err
	}
	_, err = lockShut(ctx, t, site)
	return err
}

// lockShut locks the site that is shut, or with Nil the organisation, so that a
// routine added meanwhile sees the closure. It gives the time zone there.
func lockShut(ctx context.Context, t Tx, site uuid.UUID) (string, error) {
	if site == uuid.Nil {
		org, err := t.LoadOrganisation(ctx)
		return org.Fields.TimeZone, err
	}
	s, err := t.Sites().Load(ctx, site)
	return s.Fields.TimeZone, err
}

// prepareClosure locks what is shut and says on which local day it is entered.
func prepareClosure(ctx context.Context, t Tx, old *fleet.Closure, f fleet.ClosureFields, now time.Time) (fleet.ClosureFields, error) {
	if old != nil && old.Fields.SiteID != f.SiteID {
		return f, fault.InvalidField("/site_id", "cannot be changed; archive this closure and enter another")
	}
	zone, err := lockShut(ctx, t, f.SiteID)
	if fault.Is(err, fault.NotFound) && f.SiteID != uuid.Nil {
		return f, fault.InvalidField("/site_id", "there is no site %s in this organisation", f.SiteID)
	}
	if err != nil {
		return f, err
	}
	f.EnteredOn = fleet.Today(zone, now)
	if old != nil && old.Fields.From == f.From && old.Fields.To == f.To {
		f.EnteredOn = old.Fields.EnteredOn
	}
	return f, nil
}

func followClosure(ctx context.Context, t Tx, old *fleet.Closure, saved fleet.Closure, _ time.Time) (tx.Trail, error) {
	from := saved.Fields.From
	if old != nil {
		from = min(from, old.Fields.From)
	}
	sel := Selection{Site: saved.Fields.SiteID, Since: min(from, saved.Fields.EnteredOn) - reach}
	if sel.Site == uuid.Nil {
		sel.Everything = true
	}
	_, err := settle(ctx, t, sel)
	return tx.Trail{}, err
}

// lockTankPlace takes the locks of organisation and site before the tank's.
func lockTankPlace(ctx context.Context, t Tx, id uuid.UUID) error {
	p, err := t.TankPlace(ctx, id)
	if err != nil {
		return err
	}
	return sharePlace(ctx, t, p.SiteID)
}

func sharePlace(ctx context.Context, t Tx, site uuid.UUID) error {
	if _, err := t.ShareOrganisation(ctx); err != nil {
		return err
	}
	_, err := t.ShareSite(ctx, site)
	return err
}

func prepareTank(ctx context.Context, t Tx, old *fleet.Tank, f fleet.TankFields, _ time.Time) (fleet.TankFields, error) {
	f.NetL = f.Net()
	if err := knownTargets(ctx, t, f.Targets); err != nil {
		return f, err
	}
	if old != nil {
		if old.Fields.SiteID != f.SiteID {
			return f, fault.InvalidField("/site_id", "cannot be changed; archive this tank and add it at the other site")
		}
		if f.Status == fleet.PausedTank && old.Fields.Status != fleet.PausedTank {
			return f, refuseWhileLiving(ctx, t, old.ID, "/status")
		}
		return f, nil
	}
	if f.Status == fleet.PausedTank {
		return f, fault.InvalidField("/status", "a new tank cannot be paused; add it as new, cycling, maturing, established or fallow")
	}
	if _, err := t.ShareOrganisation(ctx); err != nil {
		return f, err
	}
	site, err := t.ShareSite(ctx, f.SiteID)
	if fault.Is(err, fault.NotFound) {
		return f, fault.InvalidField("/site_id", "there is no site %s in this organisation", f.SiteID)
	}
	if err == nil && site.ArchivedAt != nil {
		return f, fault.ConflictField("/site_id", "the site is archived")
	}
	return f, err
}

func knownTargets(ctx context.Context, t Tx, targets []fleet.Target) error {
	if len(targets) == 0 {
		return nil
	}
	known, err := t.Parameters(ctx)
	if err != nil {
		return err
	}
	var c fleet.Checks
	for i, target := range targets {
		if _, ok := known[target.Parameter]; !ok {
			c.Add(at("/targets", i, "parameter"), "%q is not measured here; GET /v1/parameters lists what is", target.Parameter)
		}
	}
	return c.Err()
}

// refuseWhileLiving refuses to stop all care of a tank with animals in it.
func refuseWhileLiving(ctx context.Context, t Tx, tank uuid.UUID, pointer string) error {
	n, err := t.LivingStock(ctx, tank)
	if err == nil && n > 0 {
		return fault.InvalidField(pointer, "a tank with living stock (%d recorded) cannot be paused; move the animals first, or pause single routines", n)
	}
	return err
}

func retireTank(f fleet.TankFields) fleet.TankFields {
	f.Status = fleet.Archived
	return f
}

func mayArchiveTank(ctx context.Context, t Tx, r fleet.Tank) error {
	n, err := t.LivingStock(ctx, r.ID)
	if err == nil && n > 0 {
		return fault.ConflictWith("The tank holds living stock (%d recorded); record where the animals went first.", n)
	}
	return err
}

// followTank lets pauses follow a tank's status, and drops what is due of an
// archived tank.
func (s *Service) followTank(ctx context.Context, t Tx, old *fleet.Tank, saved fleet.Tank, now time.Time) (tx.Trail, error) {
	if old == nil {
		return tx.Trail{}, nil
	}
	if saved.ArchivedAt != nil {
		return tx.Trail{}, t.DropDue(ctx, uuid.Nil, saved.ID)
	}
	was, is := old.Fields.Status == fleet.PausedTank, saved.Fields.Status == fleet.PausedTank
	if was == is {
		return tx.Trail{}, nil
	}
	place, err := t.TankPlace(ctx, saved.ID)
	if err != nil {
		return tx.Trail{}, err
	}
	today := fleet.Today(place.Zone, now)
	if is {
		f := PauseFields{TankID: saved.ID, From: today, Reason: "tank status set to paused"}
		_, trail, err := s.Pauses.CreateIn(ctx, t, resource.New[PauseFields]{ID: s.newID(), Fields: f, Now: now})
		return trail, err
	}
	return endPauses(ctx, t, saved, today, now)
}

func endPauses(ctx context.Context, t Tx, tank fleet.Tank, today care.Day, now time.Time) (tx.Trail, error) {
	open, err := t.OpenPauses(ctx, tank.ID)
	if err != nil {
		return tx.Trail{}, err
	}
	var trail tx.Trail
	for _, p := range open {
		p.Version++
		p.UpdatedAt = now
		if p.Fields.From >= today {
			p.ArchivedAt = &now
		} else {
			p.Fields.To = &today
		}
		if err := t.Pauses().Save(ctx, p); err != nil {
			return tx.Trail{}, err
		}
		trail.Add(tx.Did(tx.Change{Resource: "pause", Action: "changed", ID: p.ID, Site: tank.Fields.SiteID, Tank: tank.ID, Fields: []string{"to"}}))
	}
	_, err = settle(ctx, t, Selection{Tank: tank.ID, Since: today - reach})
	return trail, err
}
