package demo

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/resource"
	"tankward/service/tx"
)

// Key is an access key of a member of the scenario.
type Key struct {
	Name   string // such as KEY_OWNER
	Org    string
	Member string
	Role   tx.Role
	Secret string
}

// keyLabel marks the keys of demos among a member's keys.
const keyLabel = "demo"

// Keys makes an access key for one member of each role, and revokes those that
// earlier starts had made: their secrets are not known any more.
func Keys(ctx context.Context, s *access.Service, w World, newID func() uuid.UUID, now time.Time) ([]Key, error) {
	var out []Key
	for _, k := range []struct {
		name string
		org  *Org
		role tx.Role
	}{
		{"KEY_OWNER", &w.Business, tx.Owner},
		{"KEY_COORDINATOR", &w.Business, tx.Coordinator},
		{"KEY_TECHNICIAN", &w.Business, tx.TechnicianR},
		{"KEY_VIEWER", &w.Business, tx.Viewer},
		{"CLUB_KEY_COORDINATOR", &w.Club, tx.Coordinator},
	} {
		m, ok := k.org.first(k.role)
		if !ok {
			return nil, fmt.Errorf("%s has no %s", k.org.Organisation.Fields.Name, k.role)
		}
		sc := k.org.Scope()
		if err := revoke(ctx, s, sc, m.ID, now); err != nil {
			return nil, err
		}
		made, err := s.CreateKey(ctx, tx.Call[access.NewKey]{Scope: sc, Now: now}, newID(), access.KeyFields{MemberID: m.ID, Label: keyLabel})
		if err != nil {
			return nil, fmt.Errorf("make a key for %s: %w", m.Fields.Name, err)
		}
		out = append(out, Key{k.name, k.org.Organisation.Fields.Name, m.Fields.Name, k.role, made.Result.Secret})
	}
	return out, nil
}

func revoke(ctx context.Context, s *access.Service, sc tx.Scope, member uuid.UUID, now time.Time) error {
	page, err := s.ListKeys(ctx, sc, member, resource.Paging{Limit: 500})
	if err != nil {
		return fmt.Errorf("list keys: %w", err)
	}
	for _, k := range page.Items {
		if k.Fields.Label != keyLabel {
			continue
		}
		if _, err := s.RevokeKey(ctx, tx.Call[access.AccessKey]{Scope: sc, Now: now}, k.ID, 0); err != nil {
			return fmt.Errorf("revoke a key: %w", err)
		}
	}
	return nil
}

// first gives the first member of a role.
func (o *Org) first(role tx.Role) (access.Member, bool) {
	for _, m := range o.Members {
		if m.Fields.Role == role {
			return m, true
		}
	}
	return access.Member{}, false
}

// Scope is that of the organisation's owner.
func (o *Org) Scope() tx.Scope {
	owner, _ := o.first(tx.Owner)
	return tx.Scope{Org: o.Organisation.ID, Actor: owner.ID, Role: tx.Owner, Request: "demo"}
}
