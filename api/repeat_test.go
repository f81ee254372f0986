package api_test

import (
	"testing"

	"tankward/service/tx"
)

// A record that is sent again is answered as before, whatever has changed since.
func TestRecordAgainLater(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	routine := r.routine(r.tank(r.site()), with("consequence_class", "life_support"))
	r.at("2026-03-02 09:00")
	skip := map[string]any{"id": newID(), "routine_id": routine, "result": "skipped", "reason": "power cut", "new_due_on": "2026-03-03"}
	first := r.do(tx.Coordinator, "POST", "/v1/work-records", skip).want(201)
	r.at("2026-03-06 09:00")
	again := r.do(tx.Coordinator, "POST", "/v1/work-records", skip).want(200)
	if again.text("done_on") != first.text("done_on") || again.text("received_at") != first.text("received_at") {
		t.Errorf("the repeat says %s", again.raw)
	}
	skip["reason"] = "another"
	r.do(tx.Coordinator, "POST", "/v1/work-records", skip).want(409).names("/id")
}

// Work at a routine that has ended meanwhile is kept, and nothing is made due.
func TestRecordOfAnArchivedRoutine(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	tank := r.tank(r.site())
	routine := r.routine(tank)
	r.do(tx.Owner, "DELETE", "/v1/routines/"+routine, nil).want(200)
	made := r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"routine_id": routine, "result": "done"}).want(201)
	if made.body["next"] != nil || made.body["counts_for"] != nil {
		t.Errorf("it counts: %s", made.raw)
	}
	r.do(tx.Owner, "POST", "/v1/work-records/"+made.text("id")+"/void", map[string]any{"reason": "slip"}).want(200)
	r.do(tx.Owner, "DELETE", "/v1/tanks/"+tank, nil).want(200)
	r.do(tx.TechnicianR, "POST", "/v1/work-records", map[string]any{"tank_id": tank, "work_kind": "feeding", "result": "done"}).want(201)
	r.do(tx.Owner, "POST", "/v1/pauses", map[string]any{"routine_id": routine, "from": "2026-03-02"}).want(409).names("/routine_id")
	r.consistent()
}

func TestWhoDidTheWork(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	routine := r.routine(r.tank(r.site()))
	stranger := r.send(r.stranger, "GET", "/v1/me", nil).want(200).body["member"].(map[string]any)["id"]
	body := func(by map[string]any) map[string]any {
		return map[string]any{"routine_id": routine, "result": "done", "done_by": by}
	}
	r.do(tx.Owner, "POST", "/v1/work-records", body(map[string]any{"kind": "member", "id": stranger})).want(422).names("/done_by/id")
	r.do(tx.Owner, "POST", "/v1/work-records", body(map[string]any{"kind": "member", "id": r.ids[tx.Viewer]})).want(201)
	mine := r.do(tx.Owner, "POST", "/v1/work-records", body(map[string]any{"kind": "member"})).want(201)
	if by := mine.body["done_by"].(map[string]any); by["id"] != r.ids[tx.Owner].String() {
		t.Errorf("done by %v", by)
	}
}

func TestPauseOfBoth(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site()
	tank := r.tank(site)
	both := map[string]any{"tank_id": r.tank(site), "routine_id": r.routine(tank), "from": "2026-03-02"}
	r.do(tx.Owner, "POST", "/v1/pauses", both).want(422).names("/tank_id")
	delete(both, "tank_id")
	pause := r.do(tx.Owner, "POST", "/v1/pauses", both).want(201).text("id")
	r.do(tx.Owner, "PATCH", "/v1/pauses/"+pause, map[string]any{"to": "2026-03-09"}).want(200)
}

func TestReadingBeforeTheStore(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.do(tx.Owner, "POST", "/v1/work-records", map[string]any{
		"tank_id": r.tank(r.site()), "work_kind": "water_test", "result": "done",
		"readings": []map[string]any{{"parameter": "ph", "value": 8, "taken_at": "1999-12-31T23:59:59Z"}},
	}).want(422).names("/readings/0/taken_at")
}

// Nobody is made responsible who has left, or who is none of ours.
func TestWhoIsResponsible(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	site := r.site(with("responsible_member_id", r.ids[tx.TechnicianR]))
	r.do(tx.Owner, "DELETE", "/v1/members/"+r.ids[tx.Viewer].String(), nil).want(200)
	for _, id := range []any{r.ids[tx.Viewer], newID()} {
		r.do(tx.Owner, "PATCH", "/v1/sites/"+site, map[string]any{"responsible_member_id": id}).want(422).names("/responsible_member_id")
	}
	// Who leaves later stays named until another is; other changes are free.
	r.do(tx.Owner, "DELETE", "/v1/members/"+r.ids[tx.TechnicianR].String(), nil).want(200)
	r.do(tx.Owner, "PATCH", "/v1/sites/"+site, map[string]any{"carry_floors": 2}).want(200)
}
