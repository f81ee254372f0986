package visits

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/care"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
	"tankward/service/work"
)

// monday is a day without a change of clocks.
var monday = care.Date(2026, time.March, 2)

func meta(id uuid.UUID) resource.Meta { return resource.Meta{ID: id, Version: 1} }

// numbered makes ids whose order is that of their numbers.
func numbered(kind, n int) uuid.UUID {
	return uuid.MustParse(fmt.Sprintf("00000000-0000-7000-%04d-%012d", kind, n))
}

// dayOf gives a member who works on Mondays from 8 to 17 in UTC, at seven in the
// morning, without any site.
func dayOf() known {
	south, north := fleet.Point{Lat: 38.7, Lon: -9.1}, fleet.Point{Lat: 39, Lon: -9.1}
	return known{
		member: access.Member{Meta: meta(numbered(1, 1)), Fields: access.MemberFields{
			Name: "Ana", Role: tx.TechnicianR, TimeZone: "UTC", StartPosition: &south, EndPosition: &north,
			Shifts: []fleet.Window{{Weekday: 1, From: 8 * 60, To: 17 * 60}},
		}},
		day: monday, today: monday, now: at("07:00"),
		Places: Places{Sites: map[uuid.UUID]fleet.Site{}, Tanks: map[uuid.UUID]fleet.Tank{}},
	}
}

func at(clock string) time.Time {
	t, err := time.Parse("15:04", clock)
	if err != nil {
		panic(err)
	}
	return monday.Time().Add(time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute)
}

// addSite adds a site of the member, on the way from start to end, with a tank.
func addSite(k *known, n int, change ...func(*fleet.SiteFields)) {
	f := fleet.SiteFields{
		Name: fmt.Sprintf("Site %d", n), Position: fleet.Point{Lat: 38.7 + float64(n)/50, Lon: -9.1}, TimeZone: "UTC",
		WaterMode: fleet.Hauled, ResponsibleMember: k.member.ID, SetupMinutes: 5,
	}
	for _, c := range change {
		c(&f)
	}
	k.Sites[numbered(2, n)] = fleet.Site{Meta: meta(numbered(2, n)), Fields: f}
	k.Tanks[numbered(3, n)] = fleet.Tank{Meta: meta(numbered(3, n)), Fields: fleet.TankFields{Name: fmt.Sprintf("Tank %d", n), NetL: 200}}
}

// addDue adds open work at a site's tank; its number names it.
func addDue(k *known, n, site int, state care.State, change ...func(*work.DueItem)) {
	d := work.DueItem{
		Item: care.Item{Identity: care.Identity{NominalDue: monday}, Earliest: monday - 1, Due: monday, Latest: monday + 2, State: state},
		Routine: work.Routine{Meta: meta(numbered(4, n)), Fields: work.RoutineFields{
			Name: fmt.Sprint("work ", n), SiteID: numbered(2, site), TankID: numbered(3, site), Class: care.WaterQuality,
			WorkKind: care.WaterChange, ActiveMinutes: 20, PerformedBy: care.Technician,
		}},
	}
	for _, c := range change {
		c(&d)
	}
	k.open = append(k.open, d)
}

// keep stores a round as the service does, and gives the day as it is read next.
func (k known) keep(r Round) known {
	n := 0
	for _, v := range r.Visits {
		if v.ID != uuid.Nil {
			n++
		}
	}
	r.ID, r.Visits = numbered(5, 1), slices.Clone(r.Visits)
	for i := range r.Visits {
		if v := &r.Visits[i]; v.ID == uuid.Nil {
			n++
			v.ID = numbered(6, n)
		}
	}
	k.stored = &r
	return k
}

// text says what a round holds: sites with their work, then what was left out.
func text(r Round) string {
	var out []string
	for _, v := range r.Visits {
		line := v.Site.Fields.Name + ":"
		for _, it := range v.Items {
			line += " " + strings.TrimPrefix(it.Routine.Fields.Name, "work ") + " " + string(it.State)
			if it.AddedLater {
				line += "+"
			}
		}
		out = append(out, line)
	}
	for _, u := range r.Unserved {
		out = append(out, "not "+u.SiteName+" "+string(u.Code))
	}
	return strings.Join(out, " | ")
}

func wantText(t *testing.T, r Round, want string) {
	t.Helper()
	if got := text(r); got != want {
		t.Errorf("round\n got %s\nwant %s", got, want)
	}
}

func TestWhatMakesAVisit(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		fill func(*known)
		want string
	}{
		"nothing":               {func(*known) {}, ""},
		"due":                   {func(k *known) { addDue(k, 1, 1, care.Due) }, "Site 1: 1 due"},
		"overdue":               {func(k *known) { addDue(k, 1, 1, care.Overdue) }, "Site 1: 1 overdue"},
		"early alone":           {func(k *known) { addDue(k, 1, 1, care.Early) }, ""},
		"early beside due":      {func(k *known) { addDue(k, 1, 1, care.Early); addDue(k, 2, 1, care.Due) }, "Site 1: 1 early 2 due"},
		"early at another site": {func(k *known) { addDue(k, 1, 2, care.Early); addDue(k, 2, 1, care.Due) }, "Site 1: 2 due"},
		"waiting alone":         {func(k *known) { addDue(k, 1, 1, care.Waiting) }, ""},
		"waiting until later": {func(k *known) {
			addDue(k, 1, 1, care.Due)
			addDue(k, 2, 1, care.Waiting, func(d *work.DueItem) { d.Earliest, d.Due, d.Latest = monday+1, monday+1, monday+3 })
		}, "Site 1: 1 due"},
		"blocked alone":             {func(k *known) { addDue(k, 1, 1, care.Blocked) }, ""},
		"blocked where one is":      {func(k *known) { addDue(k, 1, 1, care.Due); addDue(k, 2, 1, care.Blocked) }, "Site 1: 1 due 2 blocked"},
		"somebody else's site":      {func(k *known) { addDue(k, 1, 3, care.Due) }, ""},
		"a site that is not in use": {func(k *known) { addDue(k, 1, 9, care.Due) }, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := dayOf()
			addSite(&k, 1)
			addSite(&k, 2)
			addSite(&k, 3, func(f *fleet.SiteFields) { f.ResponsibleMember = numbered(1, 2) })
			c.fill(&k)
			r, _ := k.decide()
			wantText(t, r, c.want)
		})
	}
}

func TestWhatIsStored(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*known)
		want   bool
	}{
		"today":                       {func(k *known) { addDue(k, 1, 1, care.Due) }, true},
		"today, none of it served":    {func(k *known) { addDue(k, 1, 1, care.Due); k.member.Fields.Shifts = nil }, true},
		"tomorrow":                    {func(k *known) { addDue(k, 1, 1, care.Due); k.today-- }, false},
		"an empty day of technicians": {func(*known) {}, true},
		"an empty day of the office":  {func(k *known) { k.member.Fields.Role = tx.Coordinator }, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := dayOf()
			addSite(&k, 1)
			c.change(&k)
			if _, add := k.decide(); add.create != c.want {
				t.Errorf("stored: %v, want %v", add.create, c.want)
			}
		})
	}
}

// A plan made at noon is the plan made in the morning.
func TestPlanDoesNotDependOnWhoLooksWhen(t *testing.T) {
	t.Parallel()
	k := dayOf()
	addSite(&k, 1)
	addDue(&k, 1, 1, care.Due)
	early, _ := k.decide()
	k.now = at("12:00")
	noon, _ := k.decide()
	if !early.Visits[0].BeginAt.Equal(noon.Visits[0].BeginAt) || early.Visits[0].BeginAt.Before(at("08:00")) {
		t.Errorf("begins at %s, at noon %s", early.Visits[0].BeginAt, noon.Visits[0].BeginAt)
	}
}

func TestServiceTimeAndLoad(t *testing.T) {
	t.Parallel()
	k := dayOf()
	addSite(&k, 1, func(f *fleet.SiteFields) { f.CarryDistanceM, f.CarryFloors = 60, 1 })
	addSite(&k, 2, func(f *fleet.SiteFields) { f.WaterMode, f.CarryDistanceM = fleet.MixedOnSite, 60 })
	low, high := 34.0, 36.0
	tank := k.Tanks[numbered(3, 1)]
	tank.Fields.Targets = []fleet.Target{{Parameter: "salinity", Low: &low, High: &high}}
	k.Tanks[tank.ID] = tank
	salt := func(d *work.DueItem) {
		d.Routine.Fields.Materials = []work.Material{{Material: "salt_water", Quantity: 25, Unit: "percent_of_net"}}
	}
	addDue(&k, 1, 1, care.Due, salt)
	addDue(&k, 2, 2, care.Due, salt)
	r, _ := k.decide()
	// 50 litres and a tenth are 3 containers, 2 trips of 60 m and a floor: 2 × (1.5
	// + 1.5) minutes, beside 5 of setup and 20 of work. Where the water is mixed
	// nothing is carried.
	if got := []int{r.Visits[0].ServiceMinutes, r.Visits[1].ServiceMinutes, r.Load.Containers}; !slices.Equal(got, []int{31, 25, 3}) {
		t.Errorf("minutes, minutes and containers %v", got)
	}
	if len(r.Load.Total) != 1 || r.Load.Total[0].Quantity != 50 || *r.Load.Total[0].SalinityPSU != 35 {
		t.Errorf("load %+v", r.Load.Total)
	}
	// Done work is not carried any more, and the planned time stays.
	next := k.keep(r)
	next.open = next.open[1:]
	next.stored.Visits[0].Items[0].Closed = &Close{Record: numbered(7, 1), DoneOn: monday}
	after, add := next.decide()
	if len(after.Load.Total) != 0 || !add.none() || after.Visits[0].ServiceMinutes != 31 {
		t.Errorf("load %+v, minutes %d, additions %+v", after.Load.Total, after.Visits[0].ServiceMinutes, add)
	}
}

// What came of the work of a visit: while the day runs, and later.
func TestSettle(t *testing.T) {
	t.Parallel()
	visit := numbered(6, 1)
	record := func(done care.Day, of uuid.UUID, skipped bool) *Close {
		return &Close{Record: numbered(7, 1), DoneOn: done, Visit: of, Skipped: skipped}
	}
	for name, c := range map[string]struct {
		closed     *Close
		open, live bool
		want       string // empty: the work has gone
	}{
		"open":                               {nil, true, true, "overdue"},
		"gone":                               {nil, false, true, ""},
		"done":                               {record(monday, uuid.Nil, false), false, true, "done"},
		"skipped":                            {record(monday, uuid.Nil, true), false, true, "skipped"},
		"recorded by mistake, and void":      {record(monday, uuid.Nil, false), true, true, "overdue"},
		"later: never done":                  {nil, false, false, "due"},
		"later: still open":                  {nil, true, false, "due"},
		"later: done that day":               {record(monday, uuid.Nil, false), false, false, "done"},
		"later: done the next day":           {record(monday+1, uuid.Nil, false), false, false, "due"},
		"later: done after midnight, for it": {record(monday+1, visit, false), false, false, "done"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := dayOf()
			addSite(&k, 1)
			addDue(&k, 1, 1, care.Due)
			r, _ := k.decide()
			v := k.keep(r).stored.Visits[0]
			v.Items[0].Closed = c.closed
			open := map[ItemKey]work.DueItem{}
			if c.open {
				d := k.open[0]
				d.State = care.Overdue
				open[keyOf(d)] = d
			}
			got := k.settle(v, open, c.live)
			state := ""
			if len(got.Items) > 0 {
				state = string(got.Items[0].State)
				if (got.Items[0].Closed != nil) != (state == "done" || state == "skipped") {
					t.Errorf("%s with record %+v", state, got.Items[0].Closed)
				}
			}
			if state != c.want {
				t.Errorf("got %q, want %q", state, c.want)
			}
		})
	}
}

func TestShift(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*access.Member)
		want   string
	}{
		"as usual": {func(*access.Member) {}, "480 1020"},
		"in two parts": {func(m *access.Member) {
			m.Fields.Shifts = []fleet.Window{{Weekday: 1, From: 840, To: 1080}, {Weekday: 1, From: 420, To: 720}}
		}, "420 1080"},
		"another weekday": {func(m *access.Member) { m.Fields.Shifts[0].Weekday = 2 }, "Ana has no shift on a Monday; enter one with the member"},
		"absent": {func(m *access.Member) {
			m.Fields.Absences = []access.Absence{{From: monday - 3, To: monday, Reason: "the flu"}}
		}, "Ana is absent from 2026-02-27 to 2026-03-02"},
		"back":    {func(m *access.Member) { m.Fields.Absences = []access.Absence{{From: monday - 3, To: monday - 1}} }, "480 1020"},
		"not yet": {func(m *access.Member) { m.Fields.Absences = []access.Absence{{From: monday + 1, To: monday + 1}} }, "480 1020"},
		"gone":    {func(m *access.Member) { m.ArchivedAt = &time.Time{} }, "Ana is archived"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := dayOf()
			c.change(&k.member)
			w, got := k.shift()
			if w != nil {
				got = fmt.Sprint(w.From, w.To)
			}
			if got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// The wall clocks of member and sites may show two days.
func TestPlainDays(t *testing.T) {
	t.Parallel()
	k := dayOf()
	addSite(&k, 1)
	addSite(&k, 2, func(f *fleet.SiteFields) { f.TimeZone = "Atlantic/Azores" }) // one hour behind
	for clock, want := range map[string]bool{"07:00": true, "00:30": false} {
		if k.now = at(clock); k.plain() != want {
			t.Errorf("at %s all days are one: %v", clock, !want)
		}
	}
	site := k.Sites[numbered(2, 2)]
	site.Fields.ResponsibleMember = uuid.Nil
	if k.Sites[site.ID] = site; !k.plain() {
		t.Error("somebody else's site counts")
	}
	if k.today--; k.plain() {
		t.Error("a day to come is nobody's today")
	}
}

// started marks a visit as under way, or as finished with an end.
func started(v *Visit, begin, end string) {
	b := at(begin)
	v.State, v.StartedAt = UnderWay, &b
	if end != "" {
		e := at(end)
		v.State, v.FinishedAt = Finished, &e
	}
}

func TestLaterWork(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		later func(*known)
		want  string
	}{
		"nothing":                  {func(*known) {}, "Site 1: 1 due | Site 2: 2 due"},
		"at a planned visit":       {func(k *known) { addDue(k, 3, 2, care.Due) }, "Site 1: 1 due | Site 2: 2 due 3 due+"},
		"early at a planned visit": {func(k *known) { addDue(k, 3, 2, care.Early) }, "Site 1: 1 due | Site 2: 2 due"},
		"at a visit under way": {func(k *known) {
			started(&k.stored.Visits[0], "08:10", "")
			addDue(k, 3, 1, care.Overdue)
		}, "Site 1: 1 due 3 overdue+ | Site 2: 2 due"},
		"at a finished visit": {func(k *known) {
			started(&k.stored.Visits[0], "08:10", "08:40")
			addDue(k, 3, 1, care.Due)
		}, "Site 1: 1 due | Site 2: 2 due | not Site 1 visit_finished"},
		"at a new site":    {func(k *known) { addDue(k, 3, 3, care.Due); addDue(k, 4, 3, care.Early) }, "Site 1: 1 due | Site 2: 2 due | Site 3: 3 due+ 4 early+"},
		"early, new site":  {func(k *known) { addDue(k, 3, 3, care.Early) }, "Site 1: 1 due | Site 2: 2 due"},
		"at a closed site": {func(k *known) { addDue(k, 3, 4, care.Due) }, "Site 1: 1 due | Site 2: 2 due | not Site 4 no_access"},
		"after the shift": {func(k *known) {
			started(&k.stored.Visits[0], "16:00", "")
			k.now = at("16:30")
			addDue(k, 3, 3, care.Due, func(d *work.DueItem) { d.Routine.Fields.ActiveMinutes = 120 })
		}, "Site 1: 1 due | Site 2: 2 due | not Site 3 no_room"},
		"given to another member": {func(k *known) {
			site := k.Sites[numbered(2, 2)]
			site.Fields.ResponsibleMember = numbered(1, 2)
			k.Sites[site.ID] = site
		}, "Site 1: 1 due | Site 2:"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := dayOf()
			for n := range 4 {
				addSite(&k, n+1)
			}
			k.Closures = []fleet.ClosureFields{{SiteID: numbered(2, 4), From: monday, To: monday}}
			addDue(&k, 1, 1, care.Due)
			addDue(&k, 2, 2, care.Due)
			first, _ := k.decide()
			next := k.keep(first)
			c.later(&next)
			r, add := next.decide()
			wantText(t, r, c.want)
			for i, v := range first.Visits {
				if r.Visits[i].Site.ID != v.Site.ID {
					t.Errorf("visit %d goes elsewhere now", i)
				}
			}
			again, more := next.keep(r).decide()
			if diff := cmp.Diff(text(r), text(again)); diff != "" || !more.none() {
				t.Errorf("read again: additions %+v, before %+v (-first +second):\n%s", more, add, diff)
			}
		})
	}
}

// Times follow what happened once the day is under way; what is over keeps its
// plan.
func TestTimesAfterLaterWork(t *testing.T) {
	t.Parallel()
	k := dayOf()
	for n := range 3 {
		addSite(&k, n+1)
		addDue(&k, n+1, n+1, care.Due)
	}
	first, _ := k.decide()
	next := k.keep(first)
	started(&next.stored.Visits[0], "08:10", "09:00")
	started(&next.stored.Visits[1], "09:20", "")
	next.now = at("09:30")
	last := first.Visits[2].Site.ID
	addDue(&next, 9, int(last[15]), care.Due)
	r, add := next.decide()
	if len(add.changed) != 2 || len(add.items) != 1 || len(add.visits) != 0 {
		t.Fatalf("additions %+v", add)
	}
	if !r.Visits[0].BeginAt.Equal(first.Visits[0].BeginAt) || !r.Visits[1].BeginAt.Equal(first.Visits[1].BeginAt) {
		t.Error("the plan of what has begun was rewritten")
	}
	begin, ends := r.Visits[1].DepartAt, r.Visits[2].BeginAt.Add(time.Duration(r.Visits[2].ServiceMinutes)*time.Minute)
	if !begin.Equal(at("09:45")) || !r.Visits[2].ArriveAt.Equal(begin.Add(time.Duration(r.Visits[2].Drive.Minutes)*time.Minute)) {
		t.Errorf("the visit under way departs at %s, the next arrives at %s", begin, r.Visits[2].ArriveAt)
	}
	if r.Visits[2].ServiceMinutes != 45 || !r.Visits[2].DepartAt.Equal(ends) || !r.EndAt.After(ends) || !r.StartAt.Equal(*first.StartAt) {
		t.Errorf("%d minutes to %s, the day from %s to %s", r.Visits[2].ServiceMinutes, r.Visits[2].DepartAt, r.StartAt, r.EndAt)
	}
}

// Whatever the day: each piece of pressing work is in the round once, or left out
// once with a reason; what was read is stored by one write; and a day that goes on
// keeps the order of what stands.
func TestNothingIsLostOrDoubled(t *testing.T) {
	t.Parallel()
	seed := rand.Uint64()
	for i := range 1000 {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		k := dayOf()
		for n := range 1 + r.IntN(9) {
			addSite(&k, n, func(f *fleet.SiteFields) {
				if r.IntN(3) == 0 {
					from := 6*60 + r.IntN(600)
					f.AccessWindows = []fleet.Window{{Weekday: 1 + r.IntN(2), From: from, To: from + 20 + r.IntN(200)}}
				}
			})
			if r.IntN(8) == 0 {
				k.Closures = append(k.Closures, fleet.ClosureFields{SiteID: numbered(2, n), From: monday, To: monday})
			}
		}
		states := []care.State{care.Early, care.Due, care.Overdue, care.Waiting, care.Blocked}
		pile := func(from, count int) {
			for n := range count {
				addDue(&k, from+n, r.IntN(len(k.Sites)), states[r.IntN(len(states))], func(d *work.DueItem) {
					d.Routine.Fields.ActiveMinutes, d.Routine.Fields.Class = r.IntN(90), care.Class(1+r.IntN(4))
				})
			}
		}
		pile(0, r.IntN(20))
		first, _ := k.decide()
		k.accounted(t, first)
		k = k.keep(first)
		pile(100, r.IntN(6))
		if len(first.Visits) > 0 {
			started(&k.stored.Visits[0], "08:30", []string{"", "09:00"}[r.IntN(2)])
			k.now = at("09:10")
		}
		second, add := k.decide()
		k.accounted(t, second)
		for n, v := range first.Visits {
			if second.Visits[n].Site.ID != v.Site.ID || second.Visits[n].Position != n {
				t.Errorf("place %d: was %s, is %s", n, v.Site.Fields.Name, second.Visits[n].Site.Fields.Name)
			}
		}
		third, more := k.keep(second).decide()
		if !more.none() || text(third) != text(second) {
			t.Errorf("stored %+v, and then %+v:\n%s\n%s", add, more, text(second), text(third))
		}
		if t.Failed() {
			t.Fatalf("case %d of seed %d", i, seed)
		}
	}
}

// accounted checks that the round speaks of each pressing piece once.
func (k known) accounted(t *testing.T, r Round) {
	t.Helper()
	times := map[ItemKey]int{}
	for _, v := range r.Visits {
		for _, it := range v.Items {
			times[it.key()]++
		}
	}
	for _, u := range r.Unserved {
		if u.Reason == "" || u.Code == "" {
			t.Errorf("%s is left out without a reason", u.SiteName)
		}
		for _, key := range u.Items {
			times[key]++
		}
	}
	for _, d := range k.open {
		if n := times[keyOf(d)]; n > 1 || n == 0 && pressing(d) {
			t.Errorf("%s (%s) stands %d times", d.Routine.Fields.Name, d.State, n)
		}
	}
}

func TestMovingAVisitOn(t *testing.T) {
	t.Parallel()
	begun := at("08:10")
	visit := func(s State) Visit {
		v := Visit{ID: numbered(6, 1), Version: 1, Day: monday, State: s}
		if s == UnderWay || s == Finished {
			v.StartedAt = &begun
		}
		return v
	}
	for name, c := range map[string]struct {
		move func(Visit, time.Time) (Visit, error)
		from State
		at   time.Time
		want string // the state, or a part of the refusal
	}{
		"start":                     {start, Planned, at("08:00"), "under_way"},
		"start again":               {start, UnderWay, at("09:00"), "under_way"},
		"start when finished":       {start, Finished, at("09:00"), "is finished and cannot be started again"},
		"start when abandoned":      {start, Abandoned, at("09:00"), "is abandoned"},
		"start in the far east":     {start, Planned, at("00:00").Add(-13 * time.Hour), "under_way"},
		"start after midnight":      {start, Planned, at("00:00").Add(30 * time.Hour), "under_way"},
		"start days later":          {start, Planned, at("00:00").Add(50 * time.Hour), "must lie on the day of the visit, 2026-03-02"},
		"start days before":         {start, Planned, at("00:00").Add(-15 * time.Hour), "must lie on the day of the visit"},
		"finish":                    {finish, UnderWay, at("09:00"), "finished"},
		"finish again":              {finish, Finished, at("10:00"), "finished"},
		"finish what never began":   {finish, Planned, at("09:00"), "start it first"},
		"finish what was abandoned": {finish, Abandoned, at("09:00"), "is abandoned"},
		"finish before the start":   {finish, UnderWay, at("08:09"), "must not be before the visit was started (2026-03-02T08:10:00Z)"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			v, err := c.move(visit(c.from), c.at)
			got := string(v.State)
			if err != nil {
				got = err.Error()
			}
			if !strings.Contains(got, c.want) || err == nil && got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}
