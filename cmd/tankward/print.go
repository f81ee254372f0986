package main

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/google/uuid"

	"tankward/service/care"
	"tankward/service/demo"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/visits"
	"tankward/service/work"
)

// day is what the demo prints: it is read through the same use cases as the API.
type day struct {
	*services
	now  time.Time
	orgs []orgDay
}

// orgDay is one organisation's day.
type orgDay struct {
	name   string
	today  care.Day
	rounds []visits.Round
	late   []work.DueItem
	count  map[care.Performer]map[care.State]int
	sites  map[uuid.UUID]string
	tanks  map[uuid.UUID]string
}

// mostOfSite is how many pieces of late work are explained of a site.
const mostOfSite = 2

func (d *day) read(ctx context.Context, o *demo.Org) error {
	sc := o.Scope()
	out := orgDay{
		name: o.Organisation.Fields.Name, today: fleet.Today(demo.Zone, d.now), count: map[care.Performer]map[care.State]int{},
		sites: map[uuid.UUID]string{}, tanks: map[uuid.UUID]string{},
	}
	for _, s := range o.Sites {
		out.sites[s.ID] = s.Fields.Name
	}
	for _, t := range o.Tanks {
		out.tanks[t.ID] = t.Fields.Name
	}
	// A viewer's look stores nothing: the day begins with whoever reads it first.
	viewer := sc
	viewer.Role = tx.Viewer
	rounds, err := d.visits.Rounds(ctx, viewer, nil, resource.Paging{Limit: 500}, d.now)
	if err != nil {
		return fmt.Errorf("read the rounds: %w", err)
	}
	out.rounds = slices.DeleteFunc(rounds.Items, func(r visits.Round) bool { return len(r.Visits)+len(r.Unserved) == 0 })
	for p := (resource.Paging{Limit: 500}); ; {
		page, err := d.work.Due(ctx, sc, work.DueQuery{Now: d.now}, p)
		if err != nil {
			return fmt.Errorf("read the due work: %w", err)
		}
		for _, it := range page.Items {
			by := it.Routine.Fields.PerformedBy
			if out.count[by] == nil {
				out.count[by] = map[care.State]int{}
			}
			out.count[by][it.State]++
			if it.State == care.Overdue || it.State == care.Blocked {
				out.late = append(out.late, it)
			}
		}
		if p.After = page.Next; p.After == "" {
			break
		}
	}
	d.orgs = append(d.orgs, out)
	return nil
}

// text is all that is printed; without a URL nothing is served.
func (d *day) text(url string, keys []demo.Key) []byte {
	var b bytes.Buffer
	for _, o := range d.orgs {
		o.print(&b)
	}
	fmt.Fprintf(&b, "\nAccess keys, sent as Authorization: Bearer KEY\n")
	table := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, k := range keys {
		_, _ = fmt.Fprintf(table, "  %s\t%s\t%s\t%s\t%s\n", k.Org, k.Role, k.Member, roleText[k.Role], k.Secret)
	}
	_ = table.Flush()
	if url != "" {
		fmt.Fprintf(&b, "\nServing on %s (the API as a page: %s/docs). Ctrl-C ends it.\n", url, url)
	}
	return b.Bytes()
}

func (o *orgDay) print(b *bytes.Buffer) {
	fmt.Fprintf(b, "\n%s, %s %s\n", o.name, o.today.Time().Weekday(), o.today)
	for _, r := range o.rounds {
		o.round(b, r)
	}
	o.lateWork(b)
	for _, by := range []care.Performer{care.Technician, care.Keeper, care.Shop, care.Device} {
		if states := o.count[by]; len(states) > 0 {
			fmt.Fprintf(b, "  Work of %s: %s\n", plural[by], counts(states))
		}
	}
}

var plural = map[care.Performer]string{
	care.Technician: "technicians", care.Keeper: "keepers", care.Shop: "the shop", care.Device: "devices",
}

func counts(states map[care.State]int) string {
	order := []care.State{care.Overdue, care.Due, care.Early, care.Waiting, care.Blocked}
	var parts []string
	for _, s := range slices.SortedFunc(maps.Keys(states), func(x, y care.State) int {
		return cmp.Compare(slices.Index(order, x), slices.Index(order, y))
	}) {
		parts = append(parts, fmt.Sprintf("%d %s", states[s], s))
	}
	return strings.Join(parts, ", ")
}

func (o *orgDay) round(b *bytes.Buffer, r visits.Round) {
	loc := fleet.Location(demo.Zone)
	clock := func(t time.Time) string { return t.In(loc).Format("15:04") }
	span := "no visit"
	if r.StartAt != nil && r.EndAt != nil {
		span = fmt.Sprintf("%s to %s", clock(*r.StartAt), clock(*r.EndAt))
	}
	fmt.Fprintf(b, "  Round of %s: %s, %s, %.1f km, %d min of work\n", r.MemberName, span, counted(len(r.Visits), "visit"),
		float64(r.Drive.Metres)/1000, r.WorkMinutes())
	table := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	for _, v := range r.Visits {
		_, _ = fmt.Fprintf(table, "    %s\t%s\t%s\n", clock(v.ArriveAt), v.Site.Fields.Name, visitText(v))
	}
	_ = table.Flush()
	for _, u := range r.Unserved {
		fmt.Fprintf(b, "    not today: %s: %s\n", u.SiteName, u.Reason)
	}
}

func visitText(v visits.Visit) string {
	kinds := map[care.WorkKind]int{}
	for _, it := range v.Items {
		kinds[it.Routine.Fields.WorkKind]++
	}
	var parts []string
	for _, k := range slices.Sorted(maps.Keys(kinds)) {
		parts = append(parts, fmt.Sprintf("%d %s", kinds[k], strings.ReplaceAll(string(k), "_", " ")))
	}
	return strings.Join(parts, ", ")
}

// lateWork tells what is late or blocked, and why, site by site in the order of
// the list: the worst first.
func (o *orgDay) lateWork(b *bytes.Buffer) {
	if len(o.late) == 0 {
		return
	}
	var order []uuid.UUID
	bySite := map[uuid.UUID][]work.DueItem{}
	for _, it := range o.late {
		site := it.Routine.Fields.SiteID
		if bySite[site] == nil {
			order = append(order, site)
		}
		bySite[site] = append(bySite[site], it)
	}
	fmt.Fprintf(b, "  Late or blocked: %d (all of them: GET /v1/due-work)\n", len(o.late))
	for _, site := range order {
		fmt.Fprintf(b, "    %s: %d\n", o.sites[site], len(bySite[site]))
		slices.SortStableFunc(bySite[site], func(x, y work.DueItem) int { return cmp.Compare(tellsMore(x), tellsMore(y)) })
		for _, it := range bySite[site][:min(mostOfSite, len(bySite[site]))] {
			f := it.Routine.Fields
			fmt.Fprintf(b, "      %s, %s: %s\n", o.tanks[f.TankID], f.Name, care.Explain(it.Item, f.WorkKind))
		}
	}
}

// tellsMore brings forward what has more of a reason than that nobody came.
func tellsMore(it work.DueItem) int {
	switch {
	case it.State == care.Blocked:
		return 0
	case it.DonePercent > 0:
		return 1
	case it.NoAccessCount > 0:
		return 2
	}
	return 3
}

// counted writes a number with its noun.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
