package repo

import (
	"context"
	"encoding/base64"
	"encoding/binary"
	"slices"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/rounds"
	"tankward/service/tx"
	"tankward/service/visits"
	"tankward/service/work"
)

type visitRow struct {
	ID             uuid.UUID
	Version        int
	SiteID         uuid.UUID
	Day            time.Time
	MemberID       uuid.UUID
	TimeZone       string // of the member
	State          string
	Position       int
	ArriveAt       *time.Time
	BeginAt        *time.Time
	DepartAt       *time.Time
	ServiceMinutes int
	DriveMinutes   int
	DriveM         int
	StartedAt      *time.Time
	FinishedAt     *time.Time
	CreatedAt      time.Time
	UpdatedAt      time.Time
}

func (r visitRow) visit() visits.Visit {
	return visits.Visit{
		ID: r.ID, Version: r.Version, CreatedAt: r.CreatedAt.UTC(), UpdatedAt: r.UpdatedAt.UTC(),
		MemberID: r.MemberID, MemberZone: r.TimeZone, Day: dayFromSQL(r.Day), Site: fleet.Site{Meta: resource.Meta{ID: r.SiteID}},
		State: visits.State(r.State), Position: r.Position,
		ArriveAt: zeroOr(r.ArriveAt).UTC(), BeginAt: zeroOr(r.BeginAt).UTC(), DepartAt: zeroOr(r.DepartAt).UTC(),
		ServiceMinutes: r.ServiceMinutes, Drive: rounds.Leg{Minutes: r.DriveMinutes, Metres: r.DriveM},
		StartedAt: utc(r.StartedAt), FinishedAt: utc(r.FinishedAt),
	}
}

const visitColumns = `
		d.id,
		d.version,
		d.site_id,
		d.day,
		d.member_id,
		m.time_zone,
		d.state,
		d.position,
		d.arrive_at,
		d.begin_at,
		d.depart_at,
		d.service_minutes,
		d.drive_minutes,
		d.drive_m,
		d.started_at,
		d.finished_at,
		d.created_at,
		d.updated_at`

// The select… functions make a statement of one that gives the ids wanted; both
// are constants.

func selectVisits(ids string) string {
	return `
	SELECT` + visitColumns + `
	FROM visit d
	JOIN member m ON m.org_id = d.org_id AND m.id = d.member_id
	WHERE d.org_id = $1 AND d.id IN (` + ids + `)
	ORDER BY d.day, d.member_id, d.position, d.id`
}

func selectVisitItems(ids string) string {
	return `
	SELECT` + routineColumns + `,
		i.visit_id,
		i.added_later,
		i.nominal_due,
		i.ordinal,
		i.earliest,
		i.due,
		i.latest,
		i.late_since,
		i.state,
		i.done_percent,
		i.no_access_count,
		i.level_percent,
		i.facts,
		c.record_id,
		w.visit_id AS record_visit_id,
		w.done_on AS record_done_on,
		w.result AS record_result,` + livesColumns + `
	FROM visit_item i
	JOIN routine r ON r.org_id = i.org_id AND r.id = i.routine_id` + newestRevision + `
	LEFT JOIN item_close c ON c.org_id = i.org_id AND c.routine_id = i.routine_id AND c.nominal_due = i.nominal_due AND c.ordinal = i.ordinal
	LEFT JOIN work_record w ON w.org_id = c.org_id AND w.id = c.record_id
	WHERE i.org_id = $1 AND i.visit_id IN (` + ids + `)`
}

func selectSitesIn(ids string) string {
	return `
	SELECT` + siteColumns + `
	FROM site
	WHERE org_id = $1 AND id IN (` + ids + `)`
}

func selectTanksIn(sites string) string {
	return `
	SELECT` + tankColumns + `
	FROM tank
	WHERE org_id = $1 AND site_id IN (` + sites + `)`
}

// visitItemRow is an item as it came into its visit, with what closed it since.
type visitItemRow struct {
	routineRow
	VisitID       uuid.UUID
	AddedLater    bool
	NominalDue    time.Time
	Ordinal       int
	Earliest      time.Time
	Due           time.Time
	Latest        time.Time
	LateSince     *time.Time
	State         string
	DonePercent   int
	NoAccessCount int
	LevelPercent  float64
	Facts         []factJSON
	RecordID      *uuid.UUID
	RecordVisitID *uuid.UUID
	RecordDoneOn  *time.Time
	RecordResult  *string
	livesRow
}

func (r visitItemRow) item() visits.Item {
	it := care.Item{
		Identity: care.Identity{NominalDue: dayFromSQL(r.NominalDue), Ordinal: r.Ordinal},
		Earliest: boundFromSQL(r.Earliest), Due: boundFromSQL(r.Due), Latest: boundFromSQL(r.Latest), LateSince: zeroOr(dayPtrFromSQL(r.LateSince)),
		State: care.State(r.State), DonePercent: r.DonePercent, NoAccessCount: r.NoAccessCount, Level: r.LevelPercent, Facts: factsFromJSON(r.Facts),
	}
	out := visits.Item{DueItem: work.DueItem{Item: it, Routine: r.routine(), Cautions: r.cautions()}, AddedLater: r.AddedLater}
	if r.RecordID != nil {
		out.Closed = &visits.Close{
			Record: *r.RecordID, Visit: orNil(r.RecordVisitID), DoneOn: dayFromSQL(zeroOr(r.RecordDoneOn)),
			Skipped: care.Result(zeroOr(r.RecordResult)) == care.Skipped,
		}
	}
	return out
}

// visitParts is what visits are put together from.
type visitParts struct {
	visits []visits.Visit
	items  []visitItemRow
	sites  []fleet.Site
	tanks  []fleet.Tank
}

func (p visitParts) assemble() []visits.Visit {
	at := make(map[uuid.UUID]int, len(p.visits))
	for i, v := range p.visits {
		at[v.ID] = i
	}
	for _, r := range p.items {
		if i, ok := at[r.VisitID]; ok {
			it := r.item()
			it.Today = p.visits[i].Day
			p.visits[i].Items = append(p.visits[i].Items, it)
		}
	}
	return p.visits
}

func (p visitParts) places() (map[uuid.UUID]fleet.Site, map[uuid.UUID]fleet.Tank) {
	sites, tanks := make(map[uuid.UUID]fleet.Site, len(p.sites)), make(map[uuid.UUID]fleet.Tank, len(p.tanks))
	for _, s := range p.sites {
		sites[s.ID] = s
	}
	for _, t := range p.tanks {
		tanks[t.ID] = t
	}
	return sites, tanks
}

// visitPage gives the ids of a page of visits.
const visitPage = `
	SELECT id
	FROM visit
	WHERE org_id = $1
		AND ($2::date IS NULL OR (day, member_id, position, id) > ($2, $3::uuid, $4::integer, $5::uuid))
		AND ($6::uuid IS NULL OR id = $6)
		AND ($7::uuid IS NULL OR member_id = $7)
		AND ($8::uuid IS NULL OR site_id = $8)
		AND ($9::date IS NULL OR day = $9)
		AND ($10::text IS NULL OR state = $10)
	ORDER BY day, member_id, position, id
	LIMIT $11`

const sitesOfVisitPage = `
	SELECT d.site_id
	FROM visit d
	WHERE d.org_id = $1 AND d.id IN (` + visitPage + `)`

var (
	selectVisitPage        = selectVisits(visitPage)
	selectItemsOfVisitPage = selectVisitItems(visitPage)
	selectSitesOfVisitPage = selectSitesIn(sitesOfVisitPage)
	selectTanksOfVisitPage = selectTanksIn(sitesOfVisitPage)
)

// Visits implements visits.Reads.
func (db *DB) Visits(ctx context.Context, s tx.Scope, f visits.Filter, p resource.Paging) (visits.Page, error) {
	var page visits.Page
	after, err := decodeVisitPlace(p.After)
	if err != nil {
		return page, err
	}
	args := append([]any{s.Org}, after...)
	args = append(args, nilable(f.ID), nilable(f.Member), nilable(f.Site), dayPtrToSQL(f.Day), nonEmpty(string(f.State)), p.Limit+1)
	var found visitParts
	err = db.read(ctx, s,
		query{selectHead, []any{s.Org}, value(&page.Head)},
		query{selectVisitPage, args, into(&found.visits, visitRow.visit)},
		query{selectItemsOfVisitPage, args, into(&found.items, same[visitItemRow])},
		query{selectSitesOfVisitPage, args, into(&found.sites, siteRow.site)},
		query{selectTanksOfVisitPage, args, into(&found.tanks, tankRow.tank)})
	if err != nil {
		return page, err
	}
	page.Visits = found.assemble()
	page.Sites, page.Tanks = found.places()
	if len(page.Visits) > p.Limit {
		page.Visits = page.Visits[:p.Limit]
		page.Next = encodeVisitPlace(page.Visits[p.Limit-1])
	}
	return page, nil
}

// A place in the list of visits is 40 bytes: day and place in the round as
// integers of 4, member and visit as ids.

func encodeVisitPlace(v visits.Visit) string {
	b := binary.BigEndian.AppendUint32(nil, uint32(v.Day))   //nolint:gosec // read back the same way
	b = binary.BigEndian.AppendUint32(b, uint32(v.Position)) //nolint:gosec // read back the same way
	return base64.RawURLEncoding.EncodeToString(slices.Concat(b, v.MemberID[:], v.ID[:]))
}

// decodeVisitPlace gives day, member, position and id; four times nil at the
// beginning of the list.
func decodeVisitPlace(cursor string) ([]any, error) {
	if cursor == "" {
		return []any{nil, nil, nil, nil}, nil
	}
	b, err := base64.RawURLEncoding.DecodeString(cursor)
	if err != nil || len(b) != 40 {
		return nil, badCursor()
	}
	day := care.Day(binary.BigEndian.Uint32(b))       //nolint:gosec // written the same way
	position := int32(binary.BigEndian.Uint32(b[4:])) //nolint:gosec // written the same way
	return []any{dayToSQL(day), uuid.UUID(b[8:24]), position, uuid.UUID(b[24:])}, nil
}
