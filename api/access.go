package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"tankward/api/gen"
	"tankward/service/access"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// memberCommands lets members be served like every other resource.
type memberCommands struct{ s *access.Service }

// Create adds a member.
func (m memberCommands) Create(ctx context.Context, c tx.Call[resource.Created[access.MemberFields]], id uuid.UUID, f access.MemberFields) (tx.Outcome[resource.Created[access.MemberFields]], error) {
	return m.s.CreateMember(ctx, c, id, f)
}

// Patch changes a member.
func (m memberCommands) Patch(ctx context.Context, c tx.Call[access.Member], id uuid.UUID, match resource.IfMatch, change func(access.MemberFields) (access.MemberFields, error)) (tx.Outcome[access.Member], error) {
	return m.s.PatchMember(ctx, c, id, match, change)
}

// Archive takes a member out of use.
func (m memberCommands) Archive(ctx context.Context, c tx.Call[access.Member], id uuid.UUID, match resource.IfMatch) (tx.Outcome[access.Member], error) {
	return m.s.ArchiveMember(ctx, c, id, match)
}

// members serves members; zone is that of a member who names none.
func (a *API) members(zone string) face[access.MemberFields, gen.MemberCreate, gen.Member] {
	return face[access.MemberFields, gen.MemberCreate, gen.Member]{
		path: "/v1/members", commands: memberCommands{a.access},
		id:     func(b gen.MemberCreate) *uuid.UUID { return b.ID },
		fields: func(b gen.MemberCreate) (access.MemberFields, error) { return memberFields(b, zone) },
		body:   memberBody, answer: memberOut,
	}
}

func memberFields(b gen.MemberCreate, zone string) (access.MemberFields, error) {
	shifts, err := hours("/shifts", b.Shifts)
	if err != nil {
		return access.MemberFields{}, err
	}
	f := access.MemberFields{
		Name: b.Name, Email: deref(b.Email), Phone: deref(b.Phone), Role: tx.Role(b.Role), TimeZone: derefOr(b.TimeZone, zone),
		StartPosition: pointPtr(b.StartPosition), EndPosition: pointPtr(b.EndPosition), Shifts: shifts, Skills: deref(b.Skills),
	}
	for _, ab := range deref(b.Absences) {
		f.Absences = append(f.Absences, access.Absence{From: day(ab.From), To: day(ab.To), Reason: deref(ab.Reason)})
	}
	if v := b.Vehicle; v != nil {
		f.Vehicle = &access.Vehicle{Name: deref(v.Name), PayloadKG: v.PayloadKg, SaltWaterL: v.SaltWaterL, FreshWaterL: v.FreshWaterL}
	}
	return f, f.Validate()
}

func pointPtr(p *gen.Point) *fleet.Point {
	if p == nil {
		return nil
	}
	v := point(*p)
	return &v
}

func pointPtrOut(p *fleet.Point) *gen.Point {
	if p == nil {
		return nil
	}
	v := pointOut(*p)
	return &v
}

func absencesOut(in []access.Absence) []gen.Absence {
	out := make([]gen.Absence, len(in))
	for i, ab := range in {
		out[i] = gen.Absence{From: date(ab.From), To: date(ab.To), Reason: optional(ab.Reason)}
	}
	return out
}

func vehicleOut(v *access.Vehicle) *gen.Vehicle {
	if v == nil {
		return nil
	}
	return &gen.Vehicle{Name: optional(v.Name), PayloadKg: v.PayloadKG, SaltWaterL: v.SaltWaterL, FreshWaterL: v.FreshWaterL}
}

func skillsOut(in []string) []string { return append([]string{}, in...) }

func memberBody(f access.MemberFields) gen.MemberCreate {
	shifts, absences, skills := hoursOut(f.Shifts), absencesOut(f.Absences), skillsOut(f.Skills)
	return gen.MemberCreate{
		Name: f.Name, Email: optional(f.Email), Phone: optional(f.Phone), Role: gen.Role(f.Role), TimeZone: &f.TimeZone,
		StartPosition: pointPtrOut(f.StartPosition), EndPosition: pointPtrOut(f.EndPosition),
		Shifts: &shifts, Absences: &absences, Skills: &skills, Vehicle: vehicleOut(f.Vehicle),
	}
}

func memberOut(r access.Member) gen.Member {
	f := r.Fields
	return gen.Member{
		ID: r.ID, Version: r.Version, CreatedAt: r.CreatedAt, UpdatedAt: r.UpdatedAt, ArchivedAt: r.ArchivedAt,
		Name: f.Name, Email: optional(f.Email), Phone: optional(f.Phone), Role: gen.Role(f.Role), TimeZone: f.TimeZone,
		StartPosition: pointPtrOut(f.StartPosition), EndPosition: pointPtrOut(f.EndPosition),
		Shifts: hoursOut(f.Shifts), Absences: absencesOut(f.Absences), Skills: skillsOut(f.Skills), Vehicle: vehicleOut(f.Vehicle),
	}
}

// CreateMember adds a member, in the organisation's time zone if none is given.
func (a *API) CreateMember(c echo.Context, _ gen.CreateMemberParams) error {
	o, err := a.fleetReads.Organisation(c.Request().Context(), scopeOf(c))
	if err != nil {
		return err
	}
	return create(a, c, a.members(o.Fields.TimeZone))
}

// PatchMember changes a member.
func (a *API) PatchMember(c echo.Context, id gen.ID, _ gen.PatchMemberParams) error {
	return patch(a, c, a.members(""), id)
}

// ArchiveMember takes a member out of use and revokes their keys.
func (a *API) ArchiveMember(c echo.Context, id gen.ID, _ gen.ArchiveMemberParams) error {
	return archive(a, c, a.members(""), id)
}

// GetMember answers one member.
func (a *API) GetMember(c echo.Context, id gen.ID, _ gen.GetMemberParams) error {
	return show(c, a.members(""), id, a.access.ReadMember)
}

// ListMembers lists members.
func (a *API) ListMembers(c echo.Context, p gen.ListMembersParams) error {
	f := access.MemberFilter{Role: tx.Role(deref(p.Role))}
	return showList(a, c, "", memberOut, func(ctx context.Context, s tx.Scope) (resource.Page[access.Member], error) {
		return a.access.ListMembers(ctx, s, f, paging(p.Limit, p.Cursor, p.Archived))
	})
}

func keyOut(k access.AccessKey) gen.AccessKey {
	f := k.Fields
	return gen.AccessKey{
		ID: k.ID, Version: k.Version, MemberID: f.MemberID, Label: f.Label, Prefix: f.Prefix, CreatedAt: k.CreatedAt,
		ExpiresAt: f.ExpiresAt, RevokedAt: k.ArchivedAt, LastUsedAt: f.LastUsedAt,
	}
}

// noSecret is said where a secret is not shown again.
const noSecret = "The secret was shown once, in the first answer. If it is lost, revoke this key and make a new one."

func newKeyOut(k access.NewKey) gen.AccessKeyCreated {
	o := keyOut(k.Key)
	out := gen.AccessKeyCreated{
		ID: o.ID, Version: o.Version, MemberID: o.MemberID, Label: o.Label, Prefix: o.Prefix, CreatedAt: o.CreatedAt,
		ExpiresAt: o.ExpiresAt, RevokedAt: o.RevokedAt, LastUsedAt: o.LastUsedAt, Secret: optional(k.Secret),
	}
	if k.Secret == "" {
		out.SecretNote = optional(noSecret)
	}
	return out
}

func newKeyAnswer(k access.NewKey) (tx.Answer, error) {
	code := http.StatusCreated
	if !k.New {
		code = http.StatusOK
	}
	b, err := encode(newKeyOut(k))
	return tx.Answer{Status: code, ETag: etag(k.Key.Version), Location: "/v1/access-keys/" + k.Key.ID.String(), Body: b}, err
}

// CreateAccessKey makes a key and shows its secret, this once.
func (a *API) CreateAccessKey(c echo.Context, _ gen.CreateAccessKeyParams) error {
	body, err := decode[gen.AccessKeyCreate](c)
	if err != nil {
		return err
	}
	cl, err := call(a, c, newKeyAnswer)
	if err != nil {
		return err
	}
	f := access.KeyFields{MemberID: body.MemberID, Label: body.Label, ExpiresAt: body.ExpiresAt}
	out, err := a.access.CreateKey(c.Request().Context(), cl, derefOr(body.ID, a.newID()), f)
	if err != nil {
		return err
	}
	answer := out.Answer
	if !out.Repeated {
		// The kept answer has no secret; this one does.
		if answer, err = newKeyAnswer(out.Result); err != nil {
			return err
		}
	}
	return reply(c, answer, out.Repeated)
}

// RevokeAccessKey shuts a key for good.
func (a *API) RevokeAccessKey(c echo.Context, id gen.ID, _ gen.RevokeAccessKeyParams) error {
	match, err := ifMatch(c)
	if err != nil {
		return err
	}
	cl, err := call(a, c, func(k access.AccessKey) (tx.Answer, error) {
		b, err := encode(keyOut(k))
		return tx.Answer{Status: http.StatusOK, ETag: etag(k.Version), Body: b}, err
	})
	if err != nil {
		return err
	}
	out, err := a.access.RevokeKey(c.Request().Context(), cl, id, match)
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}

// GetAccessKey answers one key, without its secret.
func (a *API) GetAccessKey(c echo.Context, id gen.ID, _ gen.GetAccessKeyParams) error {
	k, err := a.access.ReadKey(c.Request().Context(), scopeOf(c), id)
	if err != nil {
		return err
	}
	return one(c, k.Version, keyOut(k))
}

// ListAccessKeys lists keys, without their secrets.
func (a *API) ListAccessKeys(c echo.Context, p gen.ListAccessKeysParams) error {
	return showList(a, c, "", keyOut, func(ctx context.Context, s tx.Scope) (resource.Page[access.AccessKey], error) {
		return a.access.ListKeys(ctx, s, deref(p.MemberID), paging(p.Limit, p.Cursor, p.Revoked))
	})
}

// GetMe answers who calls.
func (a *API) GetMe(c echo.Context, _ gen.GetMeParams) error {
	who := callerOf(c)
	return showOne(a, c, "", func(ctx context.Context, s tx.Scope) (gen.Me, error) {
		member, err := a.access.ReadMember(ctx, s, s.Actor)
		if err != nil {
			return gen.Me{}, err
		}
		key, err := a.access.ReadKey(ctx, s, who.Key)
		if err != nil {
			return gen.Me{}, err
		}
		o, err := a.fleetReads.Organisation(ctx, s)
		return gen.Me{Member: memberOut(member), AccessKey: keyOut(key), Organisation: organisationOut(o)}, err
	})
}
