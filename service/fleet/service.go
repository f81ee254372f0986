package fleet

import (
	"context"
	"time"

	"github.com/google/uuid"

	"tankward/service/fault"
	"tankward/service/resource"
	"tankward/service/tx"
)

// Tx is what fleet loads and saves in a transaction. Every method is bound to
// the transaction's organisation; another organisation's row is NotFound.
type Tx interface {
	// Customers, Sites, Tanks, Equipment and Closures give the stores.
	Customers() resource.Store[CustomerFields]
	Sites() resource.Store[SiteFields]
	Tanks() resource.Store[TankFields]
	Equipment() resource.Store[EquipmentFields]
	Closures() resource.Store[ClosureFields]
	// LoadOrganisation locks the organisation for a change that all its sites
	// depend on.
	LoadOrganisation(ctx context.Context) (Organisation, error)
	// ShareOrganisation and ShareSite lock against a new closure while something
	// that follows closures is added.
	ShareOrganisation(ctx context.Context) (Organisation, error)
	ShareSite(ctx context.Context, id uuid.UUID) (Site, error)
	// SaveOrganisation writes what LoadOrganisation gave.
	SaveOrganisation(ctx context.Context, o Organisation) error
	// LoadAccessNotes gives a site's notes, of version 0 when there are none.
	LoadAccessNotes(ctx context.Context, site uuid.UUID) (AccessNotes, error)
	// SaveAccessNotes writes them.
	SaveAccessNotes(ctx context.Context, n AccessNotes) error
}

// Reads is what fleet reads outside of transactions; each method is one round
// trip bound to the scope's organisation.
type Reads interface {
	Organisation(ctx context.Context, s tx.Scope) (Organisation, error)
	Customer(ctx context.Context, s tx.Scope, id uuid.UUID) (Customer, error)
	Customers(ctx context.Context, s tx.Scope, p resource.Paging) (resource.Page[Customer], error)
	Site(ctx context.Context, s tx.Scope, id uuid.UUID) (Site, error)
	Sites(ctx context.Context, s tx.Scope, f SiteFilter, p resource.Paging) (resource.Page[Site], error)
	AccessNotes(ctx context.Context, s tx.Scope, site uuid.UUID) (AccessNotes, error)
	Closure(ctx context.Context, s tx.Scope, id uuid.UUID) (Closure, error)
	Closures(ctx context.Context, s tx.Scope, f ClosureFilter, p resource.Paging) (resource.Page[Closure], error)
	Tank(ctx context.Context, s tx.Scope, id uuid.UUID) (Tank, error)
	Tanks(ctx context.Context, s tx.Scope, f TankFilter, p resource.Paging) (resource.Page[Tank], error)
	Equipment(ctx context.Context, s tx.Scope, id uuid.UUID) (Equipment, error)
	EquipmentList(ctx context.Context, s tx.Scope, f EquipmentFilter, p resource.Paging) (resource.Page[Equipment], error)
}

// Service carries out what concerns only one row of the fleet.
type Service struct {
	run       tx.Runner[Tx]
	Customers resource.Kind[Tx, CustomerFields]
	Equipment resource.Kind[Tx, EquipmentFields]
}

// New makes the service.
func New(run tx.Runner[Tx]) *Service {
	return &Service{
		run: run,
		Customers: resource.Kind[Tx, CustomerFields]{
			Name: "customer", Run: run, Store: Tx.Customers,
		},
		Equipment: resource.Kind[Tx, EquipmentFields]{
			Name: "equipment", Run: run, Store: Tx.Equipment,
			Place:   func(r Equipment) (uuid.UUID, uuid.UUID) { return uuid.Nil, r.Fields.TankID },
			Prepare: prepareEquipment,
		},
	}
}

func prepareEquipment(ctx context.Context, t Tx, old *Equipment, f EquipmentFields, _ time.Time) (EquipmentFields, error) {
	if old != nil && old.Fields.TankID != f.TankID {
		return f, fault.InvalidField("/tank_id", "cannot be changed; archive this equipment and add it to the other tank")
	}
	if old == nil {
		if _, err := TankInUse(ctx, t, f.TankID); err != nil {
			return f, err
		}
	}
	return f, nil
}

// TankLock is what TankInUse needs of a transaction: loading a tank locks it.
type TankLock interface {
	Tanks() resource.Store[TankFields]
}

// TankInUse locks a tank that something is added to; a body that names an
// unknown or archived one is refused by field.
func TankInUse(ctx context.Context, t TankLock, id uuid.UUID) (Tank, error) {
	tank, err := t.Tanks().Load(ctx, id)
	if fault.Is(err, fault.NotFound) {
		return tank, fault.InvalidField("/tank_id", "there is no tank %s in this organisation", id)
	}
	if err == nil && tank.ArchivedAt != nil {
		return tank, fault.ConflictField("/tank_id", "the tank is archived")
	}
	return tank, err
}

// PatchOrganisation changes the scope's own organisation.
func (s *Service) PatchOrganisation(ctx context.Context, c tx.Call[Organisation], match resource.IfMatch,
	change func(OrganisationFields) (OrganisationFields, error),
) (tx.Outcome[Organisation], error) {
	return tx.Do(ctx, s.run, c, func(ctx context.Context, t Tx) (Organisation, tx.Trail, error) {
		o, err := t.LoadOrganisation(ctx)
		if err != nil {
			return o, tx.Trail{}, err
		}
		if match.Misses(o.Version) {
			return o, tx.Trail{}, fault.Stale(o.Version)
		}
		fields, err := change(o.Fields)
		if err != nil {
			return o, tx.Trail{}, err
		}
		changed := resource.Diff(o.Fields, fields)
		if len(changed) == 0 {
			return o, tx.Trail{}, nil
		}
		o.Fields, o.UpdatedAt = fields, c.Now
		o.Version++
		if err := t.SaveOrganisation(ctx, o); err != nil {
			return o, tx.Trail{}, err
		}
		return o, tx.Did(tx.Change{Resource: "organisation", Action: "changed", ID: o.ID, Fields: changed}), nil
	})
}

// PutAccessNotes replaces the access notes of a site.
func (s *Service) PutAccessNotes(ctx context.Context, c tx.Call[AccessNotes], site uuid.UUID, match resource.IfMatch, notes string) (tx.Outcome[AccessNotes], error) {
	return tx.Do(ctx, s.run, c, func(ctx context.Context, t Tx) (AccessNotes, tx.Trail, error) {
		if _, err := t.Sites().Load(ctx, site); err != nil {
			return AccessNotes{}, tx.Trail{}, err
		}
		n, err := t.LoadAccessNotes(ctx, site)
		if err != nil {
			return n, tx.Trail{}, err
		}
		if match.Misses(n.Version) {
			return n, tx.Trail{}, fault.Stale(n.Version)
		}
		n.Notes, n.UpdatedAt = notes, c.Now
		n.Version++
		if err := t.SaveAccessNotes(ctx, n); err != nil {
			return n, tx.Trail{}, err
		}
		return n, tx.Did(tx.Change{Resource: "access_notes", Action: "changed", ID: site, Site: site, Fields: []string{"notes"}}), nil
	})
}
