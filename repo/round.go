package repo

import (
	"context"
	"time"

	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/rounds"
	"tankward/service/tx"
	"tankward/service/visits"
)

var (
	_ visits.Tx    = (*Tx)(nil)
	_ visits.Reads = (*DB)(nil)
)

type itemKeyJSON struct {
	RoutineID  uuid.UUID `json:"routine_id"`
	NominalDue string    `json:"nominal_due"`
	Ordinal    int       `json:"ordinal"`
}

// unservedJSON is a site left out of a round as it is stored.
type unservedJSON struct {
	SiteID uuid.UUID     `json:"site_id"`
	Code   rounds.Code   `json:"code"`
	Reason string        `json:"reason"`
	Items  []itemKeyJSON `json:"items"`
}

func unservedToJSON(in []visits.Unserved) []unservedJSON {
	out := make([]unservedJSON, len(in))
	for i, u := range in {
		out[i] = unservedJSON{SiteID: u.SiteID, Code: u.Code, Reason: u.Reason, Items: make([]itemKeyJSON, len(u.Items))}
		for n, k := range u.Items {
			out[i].Items[n] = itemKeyJSON{k.Routine, k.NominalDue.String(), k.Ordinal}
		}
	}
	return out
}

func unservedFromJSON(in []unservedJSON) []visits.Unserved {
	var out []visits.Unserved
	for _, u := range in {
		one := visits.Unserved{SiteID: u.SiteID, Code: u.Code, Reason: u.Reason}
		for _, k := range u.Items {
			one.Items = append(one.Items, visits.ItemKey{
				Routine: k.RoutineID, Identity: care.Identity{NominalDue: dayFromText(k.NominalDue), Ordinal: k.Ordinal},
			})
		}
		out = append(out, one)
	}
	return out
}

type roundRow struct {
	ID              uuid.UUID
	Version         int
	MemberID        uuid.UUID
	Day             time.Time
	StartAt         *time.Time
	EndAt           *time.Time
	DriveMinutes    int
	DriveM          int
	OvertimeMinutes int
	Unserved        []unservedJSON
	Unclear         []string
	CreatedAt       time.Time
	UpdatedAt       time.Time
}

func (r roundRow) round() visits.Round {
	return visits.Round{
		ID: r.ID, Version: r.Version, CreatedAt: r.CreatedAt.UTC(), UpdatedAt: r.UpdatedAt.UTC(), MemberID: r.MemberID, Day: dayFromSQL(r.Day),
		StartAt: utc(r.StartAt), EndAt: utc(r.EndAt), Drive: rounds.Leg{Minutes: r.DriveMinutes, Metres: r.DriveM},
		OvertimeMinutes: r.OvertimeMinutes, Unserved: unservedFromJSON(r.Unserved), Notes: r.Unclear,
	}
}

// InsertRound implements visits.Tx.
func (t *Tx) InsertRound(ctx context.Context, r visits.Round) (bool, error) {
	tag, err := t.tx.Exec(ctx, `
	INSERT INTO round (
		org_id,
		id,
		version,
		member_id,
		day,
		start_at,
		end_at,
		drive_minutes,
		drive_m,
		overtime_minutes,
		unserved,
		unclear,
		created_at,
		updated_at
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)
	ON CONFLICT (org_id, member_id, day) DO NOTHING`,
		t.org, r.ID, r.Version, r.MemberID, dayToSQL(r.Day), r.StartAt, r.EndAt, r.Drive.Minutes, r.Drive.Metres, r.OvertimeMinutes,
		unservedToJSON(r.Unserved), nonNil(r.Notes), r.CreatedAt, r.UpdatedAt)
	if err != nil || tag.RowsAffected() == 0 {
		return false, translate("insert round", err)
	}
	return true, t.InsertVisits(ctx, r.Visits)
}

// SaveRound implements visits.Tx.
func (t *Tx) SaveRound(ctx context.Context, r visits.Round) error {
	_, err := t.tx.Exec(ctx, `
	UPDATE round
	SET
		version = $3,
		start_at = $4,
		end_at = $5,
		drive_minutes = $6,
		drive_m = $7,
		overtime_minutes = $8,
		unserved = $9,
		unclear = $10,
		updated_at = $11
	WHERE org_id = $1 AND id = $2`,
		t.org, r.ID, r.Version, r.StartAt, r.EndAt, r.Drive.Minutes, r.Drive.Metres, r.OvertimeMinutes,
		unservedToJSON(r.Unserved), nonNil(r.Notes), r.UpdatedAt)
	return translate("save round", err)
}

type versionRow struct {
	ID      uuid.UUID
	Version int
}

// LockRound implements visits.Tx.
func (t *Tx) LockRound(ctx context.Context, k visits.Key) (visits.Versions, error) {
	out := visits.Versions{}
	for _, sql := range []string{`
	SELECT
		id,
		version
	FROM round
	WHERE org_id = $1 AND member_id = $2 AND day = $3
	FOR NO KEY UPDATE`, `
	SELECT
		id,
		version
	FROM visit
	WHERE org_id = $1 AND member_id = $2 AND day = $3
	ORDER BY id
	FOR NO KEY UPDATE`} {
		rows, err := loadAll(ctx, t, same[versionRow], sql, t.org, k.Member, dayToSQL(k.Day))
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			out[r.ID] = r.Version
		}
	}
	return out, nil
}

// Crew implements visits.Reads.
func (db *DB) Crew(ctx context.Context, s tx.Scope, f visits.CrewFilter, p resource.Paging) (resource.Page[access.Member], error) {
	p.Archived = false
	return list(ctx, asked{db, s, p}, memberRow.member, `
	SELECT`+memberColumns+`
	FROM member
	WHERE org_id = $1 AND id > $2
		AND (id = $5 OR $5 IS NULL AND (
			(archived_at IS NOT NULL) = $4 AND (
				role = 'technician'
				OR id IN (SELECT responsible_member_id FROM site WHERE org_id = $1 AND archived_at IS NULL)
			)
			OR id IN (SELECT member_id FROM round WHERE org_id = $1 AND day = $6::date)
		))
	ORDER BY id
	LIMIT $3`, nilable(f.Member), dayPtrToSQL(f.On))
}

// wantedRounds are the rounds of $2 and $3: members and their days.
const wantedRounds = `
	unnest($2::uuid[], $3::date[]) AS want (member_id, day)`

const selectRounds = `
	SELECT
		r.id,
		r.version,
		r.member_id,
		r.day,
		r.start_at,
		r.end_at,
		r.drive_minutes,
		r.drive_m,
		r.overtime_minutes,
		r.unserved,
		r.unclear,
		r.created_at,
		r.updated_at
	FROM` + wantedRounds + `
	JOIN round r ON r.org_id = $1 AND r.member_id = want.member_id AND r.day = want.day`

// visitsOfRounds gives the ids of the visits of those rounds.
const visitsOfRounds = `
	SELECT d.id
	FROM` + wantedRounds + `
	JOIN visit d ON d.org_id = $1 AND d.member_id = want.member_id AND d.day = want.day`

// sitesOfRounds gives the ids of the sites that those rounds go to, leave out, or
// may go to.
const sitesOfRounds = `
	SELECT id
	FROM site
	WHERE org_id = $1 AND responsible_member_id = ANY ($2) AND archived_at IS NULL
	UNION
	SELECT d.site_id
	FROM` + wantedRounds + `
	JOIN visit d ON d.org_id = $1 AND d.member_id = want.member_id AND d.day = want.day
	UNION
	SELECT (u ->> 'site_id')::uuid
	FROM` + wantedRounds + `
	JOIN round r ON r.org_id = $1 AND r.member_id = want.member_id AND r.day = want.day
	CROSS JOIN LATERAL jsonb_array_elements(r.unserved) u`

// selectClosuresOfRounds reaches a day further at both ends: a day at the site
// may be another than the member's.
const selectClosuresOfRounds = `
	SELECT` + closureColumns + `
	FROM closure
	WHERE org_id = $1 AND archived_at IS NULL
		AND (site_id IS NULL OR site_id IN (` + sitesOfRounds + `))
		AND to_day >= (SELECT min(day) - 1 FROM` + wantedRounds + `)
		AND from_day <= (SELECT max(day) + 1 FROM` + wantedRounds + `)`

var (
	selectVisitsOfRounds = selectVisits(visitsOfRounds)
	selectItemsOfRounds  = selectVisitItems(visitsOfRounds)
	selectSitesOfRounds  = selectSitesIn(sitesOfRounds)
	selectTanksOfRounds  = selectTanksIn(sitesOfRounds)
)

// Rounds implements visits.Reads.
func (db *DB) Rounds(ctx context.Context, s tx.Scope, keys []visits.Key) (visits.Book, error) {
	members, days := make([]uuid.UUID, len(keys)), make([]time.Time, len(keys))
	for i, k := range keys {
		members[i], days[i] = k.Member, dayToSQL(k.Day)
	}
	args := []any{s.Org, members, days}
	var book visits.Book
	var found visitParts
	err := db.read(ctx, s,
		query{selectRounds, args, into(&book.Rounds, roundRow.round)},
		query{selectVisitsOfRounds, args, into(&found.visits, visitRow.visit)},
		query{selectItemsOfRounds, args, into(&found.items, same[visitItemRow])},
		query{selectSitesOfRounds, args, into(&found.sites, siteRow.site)},
		query{selectTanksOfRounds, args, into(&found.tanks, tankRow.tank)},
		query{selectClosuresOfRounds, args, into(&book.Closures, func(r closureRow) fleet.ClosureFields { return r.closure().Fields })})
	if err != nil {
		return book, err
	}
	book.Sites, book.Tanks = found.places()
	for _, v := range found.assemble() {
		for i := range book.Rounds {
			if r := &book.Rounds[i]; r.MemberID == v.MemberID && r.Day == v.Day {
				r.Visits = append(r.Visits, v)
			}
		}
	}
	return book, nil
}
