package access

import (
	"context"

	"github.com/google/uuid"

	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// Founding says which organisation is to be made and who owns it. Its ids are
// made by the caller, before the transaction.
type Founding struct {
	Org          uuid.UUID
	Organisation fleet.OrganisationFields
	OwnerID      uuid.UUID
	Owner        MemberFields // Role is set to owner
	KeyID        uuid.UUID
	KeyLabel     string
}

// Founded is a new organisation, its first owner and that owner's key.
type Founded struct {
	Organisation fleet.Organisation
	Owner        Member
	Key          NewKey
}

// NewOrganisation makes an organisation with its first owner and an access key,
// all in one transaction. No member may call it: it is for whoever runs the
// service. Only the call's time and request id count: a repeat is no repeat, and
// no answer is kept. Conflict when the organisation's id is taken.
func (s *Service) NewOrganisation(ctx context.Context, c tx.Call[Founded], f Founding) (tx.Outcome[Founded], error) {
	f.Owner.Role = tx.Owner
	f.Owner = f.Owner.plain()
	c = tx.Call[Founded]{Scope: tx.Scope{Org: f.Org, Role: tx.Owner, Request: c.Scope.Request}, Now: c.Now}
	key := KeyFields{MemberID: f.OwnerID, Label: f.KeyLabel}
	for _, err := range []error{f.Organisation.Validate(), f.Owner.Validate(), key.Validate()} {
		if err != nil {
			return tx.Outcome[Founded]{}, err
		}
	}
	secret, err := makeSecret(s.Random)
	if err != nil {
		return tx.Outcome[Founded]{}, err
	}
	return tx.Do(ctx, s.Run, c, func(ctx context.Context, t Tx) (Founded, tx.Trail, error) {
		org := fleet.Organisation{
			Meta:   resource.Meta{ID: f.Org, Version: 1, CreatedAt: c.Now, UpdatedAt: c.Now},
			Fields: f.Organisation,
		}
		if err := t.InsertOrganisation(ctx, org); err != nil {
			return Founded{}, tx.Trail{}, err
		}
		trail := tx.Did(tx.Change{Resource: "organisation", Action: "created", ID: f.Org})
		owner, did, err := s.members(c.Scope).CreateIn(ctx, t, resource.New[MemberFields]{ID: f.OwnerID, Fields: f.Owner, Now: c.Now})
		if err != nil {
			return Founded{}, tx.Trail{}, err
		}
		trail.Add(did)
		made, did, err := s.keys(c.Scope, secret).CreateIn(ctx, t, resource.New[KeyFields]{ID: f.KeyID, Fields: key, Now: c.Now})
		if err != nil {
			return Founded{}, tx.Trail{}, err
		}
		trail.Add(did)
		return Founded{Organisation: org, Owner: owner.Row, Key: NewKey{Key: made.Row, New: made.New, Secret: secret}}, trail, nil
	})
}
