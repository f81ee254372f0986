package main

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

type keyCmd struct {
	Create keyCreateCmd `cmd:"" help:"Make an access key, also for a new organisation."`
	List   keyListCmd   `cmd:"" help:"List an organisation's access keys; their secrets are not known."`
	Revoke keyRevokeCmd `cmd:"" help:"Shut an access key for good."`
}

// operator is the scope of whoever runs the service.
func operator(org uuid.UUID) tx.Scope {
	return tx.Scope{Org: org, Role: tx.Owner, Request: "command line"}
}

type keyCreateCmd struct {
	database
	NewOrganisation string     `help:"Make a new organisation of this name, with its owner and a key for them." placeholder:"NAME"`
	Kind            string     `help:"Of the new organisation: business or club." enum:"business,club" default:"business"`
	TimeZone        string     `help:"Of the new organisation and its owner, such as Europe/Lisbon." default:"UTC"`
	Owner           string     `help:"Name of the new organisation's owner." default:"Owner" placeholder:"NAME"`
	Organisation    uuid.UUID  `help:"The organisation whose member gets a key." placeholder:"ID"`
	Member          uuid.UUID  `help:"The member who gets a key; without it the first owner." placeholder:"ID"`
	Label           string     `help:"What the key is for." default:"made on the command line"`
	ExpiresAt       *time.Time `help:"When the key ends, such as 2027-01-31T12:00:00Z; never when it is not given." placeholder:"INSTANT"`
}

// Help shows examples.
func (*keyCreateCmd) Help() string {
	return `The secret is shown this once; only its hash is stored.

Examples:

    tankward key create --new-organisation "Harbour Tanks" --time-zone Europe/Lisbon --owner "Ana Prado"
    tankward key create --organisation 0197c3d2-7a50-7cc4-b3a2-5c1f7e0d9a10 --label phone`
}

func (c *keyCreateCmd) run(ctx context.Context, w world) error {
	if err := c.database.check(); err != nil {
		return err
	}
	if (c.NewOrganisation == "") == (c.Organisation == uuid.Nil) {
		return usagef("give either --new-organisation NAME or --organisation ID")
	}
	s, err := openServices(ctx, c.DatabaseURL, 0, w)
	if err != nil {
		return err
	}
	defer s.db.Close()
	if c.NewOrganisation != "" {
		return c.found(ctx, s, w)
	}
	member := c.Member
	if member == uuid.Nil {
		if member, err = firstOwner(ctx, s, c.Organisation); err != nil {
			return err
		}
	}
	out, err := s.access.CreateKey(ctx, tx.Call[access.NewKey]{Scope: operator(c.Organisation), Now: w.clock()}, w.newID(),
		access.KeyFields{MemberID: member, Label: c.Label, ExpiresAt: c.ExpiresAt})
	if err != nil {
		return err
	}
	return sayKey(w.stdout, c.Organisation, out.Result)
}

// found makes an organisation.
func (c *keyCreateCmd) found(ctx context.Context, s *services, w world) error {
	f := access.Founding{
		Org: w.newID(), OwnerID: w.newID(), KeyID: w.newID(), KeyLabel: c.Label,
		Organisation: fleet.OrganisationFields{Name: c.NewOrganisation, Kind: c.Kind, TimeZone: c.TimeZone},
		Owner:        access.MemberFields{Name: c.Owner, TimeZone: c.TimeZone},
	}
	out, err := s.access.NewOrganisation(ctx, tx.Call[access.Founded]{Scope: operator(f.Org), Now: w.clock()}, f)
	if err != nil {
		return err
	}
	return sayKey(w.stdout, f.Org, out.Result.Key)
}

func sayKey(to io.Writer, org uuid.UUID, k access.NewKey) error {
	_, err := fmt.Fprintf(to, "organisation %s\nmember       %s\nkey          %s\nsecret       %s\n",
		org, k.Key.Fields.MemberID, k.Key.ID, k.Secret)
	return err
}

func firstOwner(ctx context.Context, s *services, org uuid.UUID) (uuid.UUID, error) {
	page, err := s.access.ListMembers(ctx, operator(org), access.MemberFilter{Role: tx.Owner}, resource.Paging{Limit: 1})
	if err != nil {
		return uuid.Nil, err
	}
	if len(page.Items) == 0 {
		return uuid.Nil, fmt.Errorf("there is no organisation %s, or it has no owner", org)
	}
	return page.Items[0].ID, nil
}

type keyListCmd struct {
	database
	Organisation uuid.UUID `help:"The organisation whose keys are listed." required:"" placeholder:"ID"`
	Member       uuid.UUID `help:"Only the keys of this member." placeholder:"ID"`
	Revoked      bool      `help:"List revoked keys instead of those in use." default:"false"`
}

// Help shows an example.
func (*keyListCmd) Help() string {
	return `Example:

    tankward key list --organisation 0197c3d2-7a50-7cc4-b3a2-5c1f7e0d9a10`
}

func (c *keyListCmd) run(ctx context.Context, w world) error {
	if err := c.database.check(); err != nil {
		return err
	}
	s, err := openServices(ctx, c.DatabaseURL, 0, w)
	if err != nil {
		return err
	}
	defer s.db.Close()
	table := tabwriter.NewWriter(w.stdout, 0, 0, 2, ' ', 0)
	_, _ = fmt.Fprintln(table, "KEY\tBEGINS WITH\tMEMBER\tLABEL\tMADE\tLAST USED\tENDS")
	for p := (resource.Paging{Limit: 500, Archived: c.Revoked}); ; {
		page, err := s.access.ListKeys(ctx, operator(c.Organisation), c.Member, p)
		if err != nil {
			return err
		}
		for _, k := range page.Items {
			ends := k.Fields.ExpiresAt
			if k.ArchivedAt != nil {
				ends = k.ArchivedAt
			}
			_, _ = fmt.Fprintf(table, "%s\t%s…\t%s\t%s\t%s\t%s\t%s\n", k.ID, k.Fields.Prefix, k.Fields.MemberID, k.Fields.Label,
				moment(&k.CreatedAt), moment(k.Fields.LastUsedAt), moment(ends))
		}
		if p.After = page.Next; p.After == "" {
			return table.Flush()
		}
	}
}

func moment(t *time.Time) string {
	if t == nil {
		return "never"
	}
	return t.UTC().Format(time.RFC3339)
}

type keyRevokeCmd struct {
	database
	Organisation uuid.UUID `help:"The organisation whose key it is." required:"" placeholder:"ID"`
	Key          uuid.UUID `arg:"" help:"The key: its id, as key list shows it."`
}

// Help shows an example.
func (*keyRevokeCmd) Help() string {
	return `Every replica refuses the key at once.

Example:

    tankward key revoke --organisation 0197c3d2-7a50-7cc4-b3a2-5c1f7e0d9a10 0197c3d2-8b61-7001-9d4e-2f6a8c0b1e35`
}

func (c *keyRevokeCmd) run(ctx context.Context, w world) error {
	if err := c.database.check(); err != nil {
		return err
	}
	s, err := openServices(ctx, c.DatabaseURL, 0, w)
	if err != nil {
		return err
	}
	defer s.db.Close()
	out, err := s.access.RevokeKey(ctx, tx.Call[access.AccessKey]{Scope: operator(c.Organisation), Now: w.clock()}, c.Key, 0)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w.stdout, "key %s is revoked\n", out.Result.ID)
	return err
}
