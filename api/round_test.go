package api_test

import (
	"encoding/json"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"tankward/api/gen"
	"tankward/service/tx"
)

// morning is a rig whose technician works on weekdays and has work at three sites on
// the way north; the clock stands at Monday, 2 March 2026, 06:00.
type morning struct {
	*rig
	me                            string
	near, middle, far             string
	nearTank, middleTank, farTank string
	change, socks, glass          string // routines at near, middle, far, all due that day
}

func newMorning(t *testing.T) *morning {
	t.Helper()
	m := &morning{rig: newRig(t)}
	m.at("2026-03-02 06:00")
	m.me = m.ids[tx.TechnicianR].String()
	m.technician(map[string]any{"shifts": shifts("08:00", "16:30"), "start_position": position(-9.14, 38.70), "end_position": position(-9.14, 38.82)})
	m.near, m.nearTank = m.place("Near", 38.71)
	m.middle, m.middleTank = m.place("Middle", 38.75)
	m.far, m.farTank = m.place("Far", 38.80)
	m.change = m.routine(m.nearTank, with("materials", []map[string]any{{"material": "salt_water", "quantity": 10, "unit": "percent_of_net"}}))
	m.socks = m.routine(m.middleTank, with("name", "Socks"), with("work_kind", "filter_sock_change"),
		with("materials", []map[string]any{{"material": "filter_sock", "label": "100 mm", "quantity": 2, "unit": "piece"}}))
	m.glass = m.routine(m.farTank, with("name", "Glass"), with("work_kind", "glass_cleaning"), with("consequence_class", "upkeep"))
	return m
}

func (m *morning) technician(patch map[string]any) {
	m.t.Helper()
	m.do(tx.Owner, "PATCH", "/v1/members/"+m.me, patch).want(200)
}

// place adds a site of the technician, north of the start, with a tank.
func (m *morning) place(name string, lat float64, change ...func(map[string]any)) (string, string) {
	m.t.Helper()
	site := m.site(append(change, with("name", name), with("responsible_member_id", m.me), with("position", position(-9.14, lat)))...)
	return site, m.tank(site, with("name", name+" tank"))
}

func position(lon, lat float64) map[string]any {
	return map[string]any{"type": "Point", "coordinates": []float64{lon, lat}}
}

// shifts gives the same hours for Monday to Friday.
func shifts(from, to string) []map[string]any {
	var out []map[string]any
	for _, d := range []string{"monday", "tuesday", "wednesday", "thursday", "friday"} {
		out = append(out, map[string]any{"weekday": d, "from": from, "to": to})
	}
	return out
}

func as[T any](a answer) T {
	a.t.Helper()
	var out T
	if err := json.Unmarshal(a.raw, &out); err != nil {
		a.t.Fatalf("%s: %v in %s", a.what, err, a.raw)
	}
	return out
}

func (m *morning) round(who tx.Role, query string) gen.Round {
	m.t.Helper()
	list := as[gen.RoundList](m.do(who, "GET", "/v1/rounds?member_id="+m.me+query, nil).want(200))
	if len(list.Items) != 1 {
		m.t.Fatalf("%d rounds of one member", len(list.Items))
	}
	return list.Items[0]
}

func (m *morning) mine() gen.Round {
	m.t.Helper()
	return as[gen.Round](m.do(tx.TechnicianR, "GET", "/v1/me/round", nil).want(200))
}

// sketch is what a test says of a round: site names with the state of the visit
// and of its work, then what was left out with its reason.
func sketch(r gen.Round) []string {
	var out []string
	for _, v := range r.Visits {
		line := v.SiteName + " " + string(v.State) + ":"
		for _, it := range v.Items {
			line += " " + it.Name + " " + string(it.State)
			if it.AddedLater {
				line += " (later)"
			}
		}
		out = append(out, line)
	}
	for _, u := range r.Unserved {
		out = append(out, "not "+u.SiteName+": "+u.Reason)
	}
	return out
}

func wantRound(t *testing.T, r gen.Round, want ...string) {
	t.Helper()
	if diff := cmp.Diff(want, sketch(r)); diff != "" {
		t.Fatalf("round (-want +got):\n%s", diff)
	}
}

func TestTechniciansMorning(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	r := m.mine()
	wantRound(t, r, "Near planned: Water change due", "Middle planned: Socks due", "Far planned: Glass due")
	if r.Preview || r.Day.String() != "2026-03-02" || len(r.Unclear) != 0 {
		t.Fatalf("preview %v, day %s, unclear %v", r.Preview, r.Day, r.Unclear)
	}
	first := r.Visits[0]
	// 0.01 degrees of latitude are 1.112 km; 1.3 times that at 40 km/h takes 3
	// minutes, begun ones counted. 300 litres of which 10 % and a tenth more: two
	// containers; 5 minutes of setup, no way to carry them, 30 of work.
	if got, want := clockOf(first), [4]string{"08:03", "08:03", "08:38", "3"}; got != want {
		t.Errorf("the first visit arrives, begins, departs, drives %v, want %v", got, want)
	}
	if first.ServiceMinutes != 35 || r.StartAt.Format("15:04") != "08:00" || r.WorkMinutes != 105 || r.OvertimeMinutes != 0 {
		t.Errorf("service %d, start %s, work %d, overtime %d", first.ServiceMinutes, r.StartAt, r.WorkMinutes, r.OvertimeMinutes)
	}
	// 0.12 degrees of latitude on a sphere of 6371.009 km, and 1.3 times that.
	if km := 1.3 * 13.3434; r.DriveKm < km-0.01 || r.DriveKm > km+0.01 {
		t.Errorf("drives %g km, want %g", r.DriveKm, km)
	}
	psu, two, containers := 35.0, "100 mm", 2
	wantLoad := []gen.LoadLine{
		{Material: "salt_water", SalinityPsu: &psu, Quantity: 30, Unit: "l", Containers: &containers},
		{Material: "filter_sock", Label: &two, Quantity: 2, Unit: "piece"},
	}
	if diff := cmp.Diff(wantLoad, r.Load); diff != "" || r.Containers != 2 {
		t.Errorf("load (-want +got), %d containers:\n%s", r.Containers, diff)
	}
	again := m.mine()
	if diff := cmp.Diff(r, again); diff != "" {
		t.Errorf("read again (-first +second):\n%s", diff)
	}
	m.doVisit(first)
}

// doVisit starts the first visit, does its work and finishes it.
func (m *morning) doVisit(v gen.Visit) {
	m.t.Helper()
	path := "/v1/visits/" + v.ID.String()
	m.do(tx.TechnicianR, "POST", path+"/finish", nil).want(409)
	m.at("2026-03-02 08:05")
	m.do(tx.TechnicianR, "POST", path+"/start", nil, header("If-Match", `"7"`)).want(412)
	started := m.do(tx.TechnicianR, "POST", path+"/start", nil, header("If-Match", `"1"`)).want(200)
	if got := as[gen.Visit](started); started.header.Get("ETag") != `"2"` || got.State != "under_way" || got.StartedAt.Format("15:04") != "08:05" {
		m.t.Fatalf("started: %s", started.raw)
	}
	again := m.do(tx.TechnicianR, "POST", path+"/start", nil).want(200)
	if diff := cmp.Diff(string(started.raw), string(again.raw)); diff != "" {
		m.t.Errorf("started again (-first +second):\n%s", diff)
	}
	record := m.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": m.change, "result": "done", "visit_id": v.ID}).want(201)
	r := m.mine()
	wantRound(m.t, r, "Near under_way: Water change done", "Middle planned: Socks due", "Far planned: Glass due")
	if got := r.Visits[0].Items[0]; got.RecordID == nil || got.RecordID.String() != record.text("id") || got.Due.String() != "2026-03-02" || got.DonePercent != 100 {
		m.t.Errorf("done: %+v", got)
	}
	if len(r.Load) != 1 || r.Load[0].Material != "filter_sock" || len(*r.Visits[0].Load) != 0 {
		m.t.Errorf("what is used up is still to be carried: %+v", r.Load)
	}
	m.at("2026-03-02 08:40")
	finished := m.do(tx.TechnicianR, "POST", path+"/finish", nil, header("Idempotency-Key", "f1")).want(200)
	repeat := m.do(tx.TechnicianR, "POST", path+"/finish", nil, header("Idempotency-Key", "f1")).want(200)
	if repeat.header.Get("Idempotency-Replayed") != "true" || string(repeat.raw) != string(finished.raw) {
		m.t.Errorf("the repeat: %s", repeat.raw)
	}
	m.do(tx.TechnicianR, "POST", path+"/finish", nil).want(200)
	refused := m.do(tx.TechnicianR, "POST", path+"/start", nil).want(409)
	if !strings.Contains(refused.text("detail"), "finished") {
		m.t.Errorf("refused: %s", refused.raw)
	}
	wantRound(m.t, m.mine(), "Near finished: Water change done", "Middle planned: Socks due", "Far planned: Glass due")
	// A void opens the work again; it stays with its visit.
	m.do(tx.TechnicianR, "POST", "/v1/work-records/"+record.text("id")+"/void", map[string]any{"reason": "other tank"}).want(200)
	wantRound(m.t, m.mine(), "Near finished: Water change due", "Middle planned: Socks due", "Far planned: Glass due")
}

func clockOf(v gen.Visit) [4]string {
	return [4]string{v.ArriveAt.Format("15:04"), v.StartAt.Format("15:04"), v.DepartAt.Format("15:04"), strconv.Itoa(v.DriveMinutes)}
}

func TestRoundsTakeLaterWork(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	before := m.mine()
	start := func(v gen.Visit) { m.do(tx.TechnicianR, "POST", "/v1/visits/"+v.ID.String()+"/start", nil).want(200) }
	m.at("2026-03-02 08:05")
	start(before.Visits[0])
	m.routine(m.middleTank, with("name", "Test"), with("work_kind", "water_test"), with("active_minutes", 10))
	extra, tank := m.place("Extra", 38.69)
	m.routine(tank, with("name", "Look"), with("work_kind", "inspection"))
	r := m.mine()
	wantRound(t, r, "Near under_way: Water change due", "Middle planned: Socks due Test due (later)", "Far planned: Glass due", "Extra planned: Look due (later)")
	for i, v := range before.Visits {
		if *r.Visits[i].ID != *v.ID || r.Visits[i].Order != i+1 {
			t.Errorf("visit %d is %s in place %d, was %s", i, r.Visits[i].ID, r.Visits[i].Order, v.ID)
		}
	}
	if got := r.Visits[1].ServiceMinutes - before.Visits[1].ServiceMinutes; got != 10 {
		t.Errorf("the visit became %d minutes longer", got)
	}
	// The day is under way: 08:05 + 35 minutes, and then the drive.
	if got, want := clockOf(r.Visits[1]), [4]string{"08:49", "08:49", "09:34", "9"}; got != want {
		t.Errorf("the next visit is at %v, want %v", got, want)
	}
	if last := r.Visits[3]; last.SiteID.String() != extra || !r.EndAt.After(*last.DepartAt) {
		t.Errorf("the round ends at %s, after its last visit at %s", r.EndAt, last.DepartAt)
	}
	if diff := cmp.Diff(r, m.mine()); diff != "" {
		t.Errorf("read again (-first +second):\n%s", diff)
	}
	// Work that becomes due where the visit is over is said, not slipped in.
	m.do(tx.TechnicianR, "POST", "/v1/visits/"+before.Visits[0].ID.String()+"/finish", nil).want(200)
	late := m.routine(m.nearTank, with("name", "Top up"), with("work_kind", "top_off"))
	wantRound(t, m.mine(), "Near finished: Water change due", "Middle planned: Socks due Test due (later)", "Far planned: Glass due",
		"Extra planned: Look due (later)", "not Near: visit_finished")
	// What no longer exists drops out.
	m.do(tx.Owner, "DELETE", "/v1/routines/"+late, nil).want(200)
	m.do(tx.Owner, "DELETE", "/v1/routines/"+m.socks, nil).want(200)
	wantRound(t, m.mine(), "Near finished: Water change due", "Middle planned: Test due (later)", "Far planned: Glass due", "Extra planned: Look due (later)")
}

// Only what is due makes a visit; what may be done early comes along.
func TestEarlyWorkComesAlong(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	tomorrow := with("first_day", "2026-03-03")
	// Early before the first day there is not: done today, due again in two days, one early.
	for _, tank := range []string{m.nearTank, m.farTank} {
		id := m.routine(tank, with("name", "Every two"), with("work_kind", "inspection"), with("first_day", "2026-02-28"), with("days_early", 1),
			with("cadence", map[string]any{"kind": "interval", "every": 3, "unit": "day"}))
		m.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": id, "result": "done", "done_on": "2026-02-28"}).want(201)
	}
	lone, tank := m.place("Lone", 38.72)
	id := m.routine(tank, with("first_day", "2026-02-20"), with("cadence", map[string]any{"kind": "interval", "every": 3, "unit": "day"}))
	m.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": id, "result": "done", "done_on": "2026-02-28"}).want(201)
	m.routine(tank, with("name", "Tomorrow"), tomorrow)
	m.do(tx.Owner, "DELETE", "/v1/routines/"+m.glass, nil).want(200)
	// Keeper work is nobody's round.
	m.routine(m.nearTank, with("name", "Feed"), with("work_kind", "feeding"), with("performed_by", "keeper"))
	wantRound(t, m.mine(), "Near planned: Water change due Every two early", "Middle planned: Socks due")
	if got := m.do(tx.Viewer, "GET", "/v1/visits?site_id="+lone, nil).want(200).items(); len(got) != 0 {
		t.Errorf("early work alone made a visit: %v", got)
	}
}

func TestPreviewsStoreNothing(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	whole := []string{"Near planned: Water change due", "Middle planned: Socks due", "Far planned: Glass due"}
	for name, r := range map[string]gen.Round{
		"viewer, today": m.round(tx.Viewer, ""), "owner, a day to come": m.round(tx.Owner, "&on=2026-03-09"),
	} {
		want := whole
		if strings.Contains(name, "come") {
			// All is done today as planned, and every seven days.
			want = []string{"Near planned: Water change due", "Middle planned: Socks due", "Far planned: Glass due"}
		}
		wantRound(t, r, want...)
		if !r.Preview || r.Visits[0].ID != nil || r.Visits[0].Version != nil {
			t.Errorf("%s: preview %v, visit %v", name, r.Preview, r.Visits[0].ID)
		}
	}
	wantRound(t, m.round(tx.Coordinator, "&on=2026-03-10"))
	if got := m.do(tx.Viewer, "GET", "/v1/visits", nil).want(200).items(); len(got) != 0 {
		t.Fatalf("a preview stored %v", got)
	}
	m.do(tx.Viewer, "GET", "/v1/rounds?on=2026-03-01&member_id="+m.me, nil).want(404)
	m.do(tx.TechnicianR, "GET", "/v1/me/round?on=2026-03-01", nil).want(404)
	m.do(tx.Owner, "GET", "/v1/rounds?on=2026-03-03&member_id="+newID().String(), nil).want(404)
	m.do(tx.Owner, "GET", "/v1/rounds?on=2028-03-03&member_id="+m.me, nil).want(400).names("on")
	if got := m.do(tx.Viewer, "GET", "/v1/rounds?on=2026-03-01", nil).want(200).items(); len(got) != 0 {
		t.Errorf("rounds of a day without any: %v", got)
	}
	// Once it is stored, the viewer sees the same as everybody.
	r := m.round(tx.Coordinator, "")
	if diff := cmp.Diff(r, m.round(tx.Viewer, "")); diff != "" || r.Preview {
		t.Errorf("coordinator and viewer differ (-coordinator +viewer):\n%s", diff)
	}
}

// The day after, a round shows what came of it that day.
func TestPastRoundsStay(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	m.mine()
	m.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": m.change, "result": "done"}).want(201)
	m.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": m.glass, "result": "skipped", "reason": "clean"}).want(201)
	m.at("2026-03-03 07:00")
	m.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": m.socks, "result": "done"}).want(201)
	want := []string{"Near planned: Water change done", "Middle planned: Socks due", "Far planned: Glass skipped"}
	r := m.round(tx.TechnicianR, "&on=2026-03-02")
	wantRound(t, r, want...)
	if len(r.Load) != 0 || r.Preview {
		t.Errorf("past: load %v, preview %v", r.Load, r.Preview)
	}
	m.do(tx.Owner, "DELETE", "/v1/routines/"+m.socks, nil).want(200)
	wantRound(t, m.round(tx.Viewer, "&on=2026-03-02"), want...)
	visit := as[gen.Visit](m.do(tx.Viewer, "GET", "/v1/visits/"+r.Visits[1].ID.String(), nil).want(200))
	if len(visit.Items) != 1 || visit.Items[0].State != "due" || visit.Items[0].TankName != "Middle tank" {
		t.Errorf("past visit: %+v", visit.Items)
	}
	wantRound(t, m.mine())
	// Who has left still has had that day.
	m.do(tx.Owner, "DELETE", "/v1/members/"+m.me, nil).want(200)
	for query, n := range map[string]int{"?on=2026-03-02": 1, "?on=2026-03-03": 1, "?on=2026-03-01": 0} {
		if got := m.do(tx.Owner, "GET", "/v1/rounds"+query, nil).want(200).items(); len(got) < n || n == 0 && len(got) > 0 {
			t.Errorf("%s lists %d rounds", query, len(got))
		}
	}
}

func TestAbsentOrNoShift(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	m.technician(map[string]any{"absences": []map[string]any{{"from": "2026-03-01", "to": "2026-03-02", "reason": "the flu"}}})
	r := m.mine()
	wantRound(t, r, "not Near: no_shift", "not Middle: no_shift", "not Far: no_shift")
	for _, u := range r.Unserved {
		if want := "no shift: Member technician is absent from 2026-03-01 to 2026-03-02"; u.Explanation != want || len(u.Items) != 1 {
			t.Errorf("%s: %q, %v", u.SiteName, u.Explanation, u.Items)
		}
	}
	if r.StartAt != nil || len(r.Load) != 0 {
		t.Errorf("starts at %v with %v", r.StartAt, r.Load)
	}
	// Back after all: the visits come, in the best order, and are marked.
	m.technician(map[string]any{"absences": []any{}})
	r = m.mine()
	wantRound(t, r, "Near planned: Water change due (later)", "Middle planned: Socks due (later)", "Far planned: Glass due (later)")
	if r.Visits[2].ID == nil || r.StartAt.Format("15:04") != "08:00" {
		t.Errorf("stored %v, starts %v", r.Visits[2].ID, r.StartAt)
	}
	sunday := m.round(tx.Owner, "&on=2026-03-08")
	wantRound(t, sunday)
	m.technician(map[string]any{"shifts": []any{}})
	monday := m.round(tx.Owner, "&on=2026-03-09")
	wantRound(t, monday, "not Near: no_shift", "not Middle: no_shift", "not Far: no_shift")
	if got := monday.Unserved[0].Explanation; !strings.Contains(got, "has no shift on a Monday") {
		t.Errorf("no shift: %q", got)
	}
}

// Without positions the round begins and ends at the sites, and says so.
func TestNoStartPosition(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	m.technician(map[string]any{"start_position": nil, "end_position": nil})
	r := m.mine()
	if len(r.Unclear) != 2 || !strings.Contains(r.Unclear[0], "no start position") || !strings.Contains(r.Unclear[1], "no end position") {
		t.Errorf("unclear: %q", r.Unclear)
	}
	if r.Visits[0].DriveMinutes != 0 || !r.StartAt.Equal(*r.Visits[0].ArriveAt) || !r.EndAt.Equal(*r.Visits[2].DepartAt) {
		t.Errorf("drives %d minutes to the first, starts %s, ends %s", r.Visits[0].DriveMinutes, r.StartAt, r.EndAt)
	}
}

func TestClosedSites(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	// A closure entered today moves nothing that is late already.
	m.do(tx.Owner, "DELETE", "/v1/routines/"+m.socks, nil).want(200)
	m.routine(m.middleTank, with("name", "Glass"), with("work_kind", "glass_cleaning"), with("days_early", 0), with("days_late", 0),
		with("first_day", "2026-02-20"), with("cadence", map[string]any{"kind": "interval", "every": 30, "unit": "day"}))
	// Daily feeding cannot move either: on the closed day it is the keeper's.
	m.routine(m.middleTank, with("name", "Feed"), with("work_kind", "feeding"), with("days_early", 0), with("days_late", 0),
		with("cadence", map[string]any{"kind": "interval", "every": 1, "unit": "day"}))
	closure := m.added("/v1/closures", map[string]any{"site_id": m.middle, "from": "2026-03-02", "to": "2026-03-02", "reason": "stocktaking"}, nil)
	r := m.mine()
	wantRound(t, r, "Near planned: Water change due", "Far planned: Glass due", "not Middle: no_access")
	if got := r.Unserved[0].Explanation; got != "closed on this day: stocktaking" {
		t.Errorf("explanation: %q", got)
	}
	m.do(tx.Owner, "DELETE", "/v1/closures/"+closure, nil).want(200)
	wantRound(t, m.mine(), "Near planned: Water change due", "Far planned: Glass due", "Middle planned: Glass overdue (later) Feed due (later)")
}

func TestAccessWindowsAreKept(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	hours := func(site, from, to string) {
		m.do(tx.Owner, "PATCH", "/v1/sites/"+site, map[string]any{"access_windows": []map[string]any{{"weekday": "monday", "from": from, "to": to}}}).want(200)
	}
	hours(m.near, "13:00", "15:00")
	hours(m.far, "09:00", "10:00")
	hours(m.middle, "10:00", "10:20")
	r := m.mine()
	if got := r.Unserved[0].Explanation; got != "the work takes 35 minutes, and the longest span of access has 20 minutes" {
		t.Errorf("explanation: %q", got)
	}
	wantRound(t, r, "Far planned: Glass due", "Near planned: Water change due", "not Middle: window_too_short")
	if got, want := clockOf(r.Visits[0]), [4]string{"09:00", "09:00", "09:35", "22"}; got != want {
		t.Errorf("the first visit is at %v, want %v: it is not waited for at the door", got, want)
	}
	if got := r.Visits[1]; got.StartAt.Format("15:04") != "13:00" || got.WaitMinutes != int(got.StartAt.Sub(*got.ArriveAt).Minutes()) || got.WaitMinutes == 0 {
		t.Errorf("the second begins at %s after %d minutes", got.StartAt, got.WaitMinutes)
	}
}

func TestFirstReadsAtOnceMakeOneRound(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	const readers = 8
	bodies := make([]answer, readers)
	var all sync.WaitGroup
	for i := range readers {
		role := []tx.Role{tx.TechnicianR, tx.Owner, tx.Coordinator, tx.Integration}[i%4]
		all.Go(func() { bodies[i] = m.do(role, "GET", "/v1/rounds?member_id="+m.me, nil) })
	}
	all.Wait()
	want := as[gen.RoundList](bodies[0].want(200))
	for _, b := range bodies[1:] {
		if diff := cmp.Diff(want, as[gen.RoundList](b.want(200))); diff != "" {
			t.Errorf("two readers (-one +other):\n%s", diff)
		}
	}
	if got := m.do(tx.Viewer, "GET", "/v1/visits", nil).want(200).items(); len(got) != 3 {
		t.Errorf("%d visits are stored", len(got))
	}
}

func TestRoundsOfAll(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	// The owner looks after a site too, the second technician after none.
	site, tank := m.place("Owner's", 38.73, func(map[string]any) {})
	m.do(tx.Owner, "PATCH", "/v1/sites/"+site, map[string]any{"responsible_member_id": m.ids[tx.Owner]}).want(200)
	m.routine(tank, with("name", "Look"))
	second := m.do(tx.Owner, "POST", "/v1/members", map[string]any{"name": "Second", "role": "technician", "time_zone": "UTC", "shifts": shifts("08:00", "16:30")}).want(201).text("id")
	list := m.do(tx.Coordinator, "GET", "/v1/rounds", nil).want(200)
	got := map[string][]string{}
	for _, r := range as[gen.RoundList](list).Items {
		got[r.MemberName] = sketch(r)
		if r.Preview {
			t.Errorf("%s has a preview", r.MemberName)
		}
	}
	want := map[string][]string{
		"Owner of Tidepool Care": {"not Owner's: no_shift"},
		"Member technician":      {"Near planned: Water change due", "Middle planned: Socks due", "Far planned: Glass due"},
		"Second":                 nil,
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Fatalf("rounds (-want +got):\n%s", diff)
	}
	unchanged := m.do(tx.Coordinator, "GET", "/v1/rounds", nil, header("If-None-Match", list.header.Get("ETag")))
	if unchanged.want(http.StatusNotModified); len(unchanged.raw) != 0 {
		t.Errorf("304 with a body: %s", unchanged.raw)
	}
	page := m.do(tx.Coordinator, "GET", "/v1/rounds?limit=1", nil).want(200)
	seen := map[string]bool{}
	for {
		for _, r := range as[gen.RoundList](page).Items {
			seen[r.MemberID.String()] = true
		}
		if page.body["next"] == nil {
			break
		}
		page = m.do(tx.Coordinator, "GET", "/v1/rounds?limit=1&cursor="+page.text("next"), nil).want(200)
	}
	if len(seen) != 3 || !seen[second] {
		t.Errorf("page by page: %v", seen)
	}
}

func TestPollingARound(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	first := m.do(tx.TechnicianR, "GET", "/v1/me/round", nil).want(200)
	tag := header("If-None-Match", first.header.Get("ETag"))
	m.do(tx.TechnicianR, "GET", "/v1/me/round", nil, tag).want(304)
	visit := as[gen.Round](first).Visits[0].ID.String()
	shown := m.do(tx.TechnicianR, "GET", "/v1/visits/"+visit, nil).want(200)
	m.do(tx.TechnicianR, "GET", "/v1/visits/"+visit, nil, header("If-None-Match", shown.header.Get("ETag"))).want(304)
	m.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": m.change, "result": "done"}).want(201)
	m.do(tx.TechnicianR, "GET", "/v1/me/round", nil, tag).want(200)
	m.do(tx.TechnicianR, "GET", "/v1/visits/"+visit, nil, header("If-None-Match", shown.header.Get("ETag"))).want(200)
}

func TestVisitsAreListedAndMovedOn(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	r := m.mine()
	near, middle := r.Visits[0].ID.String(), r.Visits[1].ID.String()
	m.at("2026-03-02 08:05")
	for body, want := range map[string]int{
		`{"at":"2026-03-02T08:11:00Z"}`: 422, `{"at":"2026-02-20T08:00:00Z"}`: 422, `{"when":"now"}`: 400, `{"at":"yesterday"}`: 400,
	} {
		m.do(tx.TechnicianR, "POST", "/v1/visits/"+near+"/start", body).want(want)
	}
	m.do(tx.Viewer, "POST", "/v1/visits/"+near+"/start", nil).want(403)
	m.send(m.stranger, "POST", "/v1/visits/"+near+"/start", nil).want(404)
	m.send(m.stranger, "GET", "/v1/visits/"+near, nil).want(404)
	m.send(m.stranger, "GET", "/v1/rounds?member_id="+m.me, nil).want(404)
	m.do(tx.TechnicianR, "POST", "/v1/visits/"+near+"/start", map[string]any{"at": "2026-03-02T08:01:00Z"}).want(200)
	m.do(tx.TechnicianR, "POST", "/v1/visits/"+near+"/finish", map[string]any{"at": "2026-03-02T08:00:00Z"}).want(422).names("/at")
	for query, want := range map[string]int{
		"": 3, "?state=under_way": 1, "?state=finished": 0, "?day=2026-03-02": 3, "?day=2026-03-03": 0, "?site_id=" + m.far: 1,
		"?member_id=" + m.me: 3, "?member_id=" + m.ids[tx.Owner].String(): 0, "?day=2026-03-02&state=planned": 2,
	} {
		if got := m.do(tx.Viewer, "GET", "/v1/visits"+query, nil).want(200).items(); len(got) != want {
			t.Errorf("%q lists %d visits, want %d", query, len(got), want)
		}
	}
	page := m.do(tx.Viewer, "GET", "/v1/visits?limit=2", nil).want(200)
	rest := m.do(tx.Viewer, "GET", "/v1/visits?limit=2&cursor="+page.text("next"), nil).want(200)
	if got := append(page.items(), rest.items()...); len(got) != 3 || got[1]["id"] != middle || rest.body["next"] != nil {
		t.Errorf("two pages hold %d visits: %s %s", len(got), page.raw, rest.raw)
	}
	for _, cursor := range []string{"x", "x.y", page.text("next") + "0x"} {
		m.do(tx.Viewer, "GET", "/v1/visits?cursor="+cursor, nil).want(400).names("cursor")
	}
	if got := m.send(m.stranger, "GET", "/v1/visits", nil).want(200).items(); len(got) != 0 {
		t.Errorf("the other organisation sees %v", got)
	}
}

func TestLaterWorkIsAddedOnce(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	m.mine()
	m.routine(m.nearTank, with("name", "Test"), with("work_kind", "water_test"))
	_, tank := m.place("Extra", 38.81)
	m.routine(tank, with("name", "Look"))
	bodies := make([]answer, 6)
	var all sync.WaitGroup
	for i := range bodies {
		all.Go(func() { bodies[i] = m.do(tx.TechnicianR, "GET", "/v1/me/round", nil) })
	}
	all.Wait()
	for _, b := range bodies {
		r := as[gen.Round](b.want(200))
		wantRound(t, r, "Near planned: Water change due Test due (later)", "Middle planned: Socks due", "Far planned: Glass due", "Extra planned: Look due (later)")
		if r.Visits[3].ID == nil {
			t.Error("the new visit is not stored")
		}
	}
	if got := m.do(tx.Viewer, "GET", "/v1/visits", nil).want(200).items(); len(got) != 4 {
		t.Errorf("%d visits are stored", len(got))
	}
}

// The technician's day has begun while the site still has the day before: the
// round is of the technician's day.
func TestMemberAheadOfTheSite(t *testing.T) {
	t.Parallel()
	m := newMorning(t)
	m.technician(map[string]any{"time_zone": "Pacific/Auckland", "shifts": []map[string]any{{"weekday": "tuesday", "from": "08:00", "to": "16:30"}}})
	m.do(tx.Owner, "DELETE", "/v1/routines/"+m.socks, nil).want(200)
	m.do(tx.Owner, "DELETE", "/v1/routines/"+m.glass, nil).want(200)
	m.routine(m.farTank, with("name", "Tuesday's"), with("first_day", "2026-03-03"), with("days_early", 0))
	m.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": m.change, "result": "done", "done_on": "2026-03-02"}).want(201)
	m.at("2026-03-02 20:00") // Tuesday, 09:00 in Auckland, which is 13 hours ahead
	r := m.mine()
	wantRound(t, r, "Far planned: Tuesday's due")
	if r.Day.String() != "2026-03-03" || r.Preview || r.StartAt.Format("2006-01-02 15:04") != "2026-03-02 19:00" {
		t.Errorf("day %s, preview %v, starts %s", r.Day, r.Preview, r.StartAt)
	}
	shown := as[gen.Visit](m.do(tx.Viewer, "GET", "/v1/visits/"+r.Visits[0].ID.String(), nil).want(200))
	if len(shown.Items) != 1 || shown.Items[0].State != "due" {
		t.Errorf("the visit by itself: %+v", shown.Items)
	}
	if diff := cmp.Diff(r, m.mine()); diff != "" {
		t.Errorf("read again (-first +second):\n%s", diff)
	}
}
