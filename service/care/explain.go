package care

import (
	"fmt"
	"strconv"
	"strings"
)

// Explain says in a few short sentences why the item has its dates, from its
// facts alone.
func Explain(item Item, kind WorkKind) string {
	e := explainer{item: &item, work: strings.ReplaceAll(string(kind), "_", " ")}
	if kind == OtherWork || kind == "" {
		e.work = "work"
	}
	e.facts()
	e.window()
	for _, f := range item.Facts {
		e.event(f)
	}
	if item.LateSince != 0 {
		e.say("Late since %s.", e.day(item.LateSince))
	}
	return strings.Join(e.sentences, " ")
}

// explainer gathers the sentences of one item.
type explainer struct {
	item      *Item
	work      string
	sentences []string

	anchor   Fact // first day, last done, level set
	interval Fact
	resumed  Fact
	bound    Fact // what cut the beginning or the end of the window last
	cut      Fact
}

func (e *explainer) say(format string, args ...any) {
	s := fmt.Sprintf(format, args...)
	e.sentences = append(e.sentences, strings.ToUpper(s[:1])+s[1:])
}

// day writes a date as people say it; the year only where it is not that of
// the due day.
func (e *explainer) day(d Day) string {
	year, _, _ := civil(e.item.Due)
	if y, _, _ := civil(d); y != year {
		return d.Time().Format("Monday 2 January 2006")
	}
	return d.Time().Format("Monday 2 January")
}

// facts says where the nominal due comes from.
func (e *explainer) facts() {
	for _, f := range e.item.Facts {
		switch f.Kind {
		case FactFirstDay, FactLastDone, FactLevelSet:
			e.anchor = f
		case FactInterval:
			e.interval = f
		case FactRampResumed:
			e.resumed = f
		default: // no other fact says anything here
		}
	}
	if e.anchor.Kind == FactFirstDay && !e.item.has(FactStep) {
		e.say("The first %s is due on %s, when this routine begins.", e.work, e.day(e.anchor.Day))
	}
	for _, f := range e.item.Facts {
		e.origin(f)
	}
}

// origin says one fact that the nominal due comes from.
func (e *explainer) origin(f Fact) {
	switch f.Kind {
	case FactInterval:
		e.say("The %s is due %s after it was last done or skipped (%s).", e.work, count(f.Every, string(f.Unit)), e.day(e.anchor.Day))
	case FactRule:
		e.say("The %s is due %s; this one on %s.", e.work, ruleWords(f.Text), e.day(f.To))
	case FactOnce:
		e.say("The %s is due once, on %s.", e.work, e.day(f.Day))
	case FactNewDue:
		e.say("It was skipped last time, and %s was named as the next day.", e.day(f.Day))
	case FactRevised:
		e.say("The routine was changed on %s; nothing is due before.", e.day(f.Day))
	case FactResumed:
		e.say("A pause ended on %s; the work is due then.", e.day(f.To))
	case FactInactive:
		e.say("Nothing is done on %s, because of a pause or the months in use; it waits until %s.", e.day(f.Day), e.day(f.To))
	case FactOrdinal:
		e.say("It is number %d of that day.", f.Count+1)
	case FactParentItem:
		e.say("The %s goes with the work it follows, the one of %s.", e.work, e.day(f.Day))
	case FactGap:
		e.say("The %s is due %s after the work it follows (closed on %s).", e.work, countRange(f.Early, f.Late), e.day(f.Day))
	case FactStep:
		e.step(f)
	case FactStepBack:
		e.say("Lower the light to %s: a step back was asked for on %s.", percent(f.Percent), e.day(f.Day))
	default: // no other fact says anything here
	}
}

// step says which level comes next.
func (e *explainer) step(f Fact) {
	switch {
	case e.anchor.Kind == FactLevelSet && e.resumed.Kind != "":
		e.say("Set the light to %s, %s after the ramp went on (%s); it stands at %s.", percent(f.Percent), count(f.Every, "day"), e.day(e.resumed.Day), percent(e.anchor.Percent))
	case e.anchor.Kind == FactLevelSet:
		e.say("Set the light to %s, %s after the last step (%s); it stands at %s.", percent(f.Percent), count(f.Every, "day"), e.day(e.anchor.Day), percent(e.anchor.Percent))
	case e.item.has(FactNewDue):
		e.say("Set the light to %s.", percent(f.Percent))
	default:
		e.say("Set the light to %s: the ramp begins here.", percent(f.Percent))
	}
}

// window says from when to when the work may be done, and what cut that short.
func (e *explainer) window() {
	it := e.item
	for _, f := range it.Facts {
		switch f.Kind {
		case FactCutByPrevious, FactNotBeforeFirst, FactNotBeforeDone, FactNotBeforeResume, FactNotBeforeActive, FactNotBeforeRevised:
			e.bound = f
		case FactCutByNext, FactCutByParent:
			e.cut = f
		default: // no other fact says anything here
		}
	}
	if it.State == Blocked {
		return
	}
	if it.Earliest == it.Latest {
		e.say("It is to be done on %s%s.", e.day(it.Due), e.reasons())
		return
	}
	e.say("Due on %s; it may be done from %s to %s%s.", e.day(it.Due), e.day(it.Earliest), e.day(it.Latest), e.reasons())
}

// reasons says why the window is no wider.
func (e *explainer) reasons() string {
	var why []string
	switch e.bound.Kind {
	case FactCutByPrevious:
		why = append(why, "not sooner, because the window before ends on "+e.day(e.bound.Day))
	case FactNotBeforeResume:
		why = append(why, "not sooner, because of the pause")
	case FactNotBeforeActive:
		why = append(why, "not sooner, because of the months in use")
	case FactNotBeforeRevised:
		why = append(why, "not sooner, because the routine was changed that day")
	default: // no other fact says anything here
	}
	switch e.cut.Kind {
	case FactCutByNext:
		why = append(why, "not later, because the next is due on "+e.day(e.cut.Day))
	case FactCutByParent:
		why = append(why, "not later, because the next window begins on "+e.day(e.cut.Day))
	default: // no other fact says anything here
	}
	if len(why) == 0 {
		return ""
	}
	return " (" + strings.Join(why, "; ") + ")"
}

// event says what moved the item and what has happened since.
func (e *explainer) event(f Fact) {
	switch f.Kind {
	case FactClosed:
		e.say("%s is closed, so it moves to %s.", e.day(f.Day), e.day(f.To))
	case FactClosedTooLate:
		e.say("%s is closed, but that was entered on %s, too late to move the work.", e.day(f.Day), e.day(f.Entered))
	case FactBlocked:
		e.say("%s is closed and no open day follows: agree on a day with the customer.", e.day(f.Day))
	case FactParentBlocked:
		e.say("That work is blocked: there is no open day for it.")
	case FactForKeeper:
		e.say("%s is closed and this cannot wait: it is for the keeper.", e.day(f.Day))
	case FactParentClosed:
		e.say("The work it follows was closed on %s without it, so it is due that day.", e.day(f.Day))
	case FactOlder:
		e.say("The one of %s was not done in its window, which ended on %s; this one takes its place.", e.day(f.Day), e.day(f.To))
	case FactShareLost:
		e.say("%s of the one of %s was done; that does not count here.", percent(f.Percent), e.day(f.Day))
	case FactShare:
		e.say("%s is done, %s is left.", percent(f.Percent), percent(100-f.Percent))
	case FactNoAccess:
		e.say("No access %s, last on %s.", times(f.Count), e.day(f.Day))
	default: // no other fact says anything here
	}
}

func count(n int, unit string) string {
	if n == 1 {
		return "1 " + unit
	}
	return fmt.Sprintf("%d %ss", n, unit)
}

func countRange(least, greatest int) string {
	switch {
	case least == greatest && least == 0:
		return "on the day"
	case least == greatest:
		return count(least, "day")
	}
	return fmt.Sprintf("%d to %d days", least, greatest)
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

// percent writes a level to a tenth.
func percent(p float64) string {
	return strings.TrimSuffix(strconv.FormatFloat(p, 'f', 1, 64), ".0") + " %"
}
