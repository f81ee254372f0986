package care

import "math/bits"

// The ends of the calendar that rules are read in, as in RFC 3339 dates.
var (
	firstCivilDay = Date(1, 1, 1)
	lastCivilDay  = Date(9999, 12, 31)
)

// Dates are the days a rule gives from a first day on. Finding the next or the
// previous one costs the same however far the first day lies back.
type Dates struct {
	first, last Day // the greatest span in which a day may lie
	step        int // days, weeks, months or years between periods
	kind        freq
	base        int // weekly: week start; monthly: month index; yearly: year
	week        uint8
	months      MonthSet
	positions   []int16
	tables      *tables
	// everyNth keeps only each nth day from the first on: FREQ=DAILY with an
	// interval beside other parts.
	everyNth int
}

// From gives the days of the rule for a routine that begins on a first day.
// The first day itself is given only if the rule gives it. Periods, and what
// the rule leaves out, are taken from the first day as from a DTSTART.
func (r *Rule) From(first Day) Dates {
	first = max(first, firstCivilDay)
	d := Dates{first: first, last: min(r.until, lastCivilDay), step: r.interval, kind: r.freq, months: r.byMonth, tables: r.tables}
	year, month, day := civil(first)
	switch r.freq {
	case daily:
		d.base = int(first)
		if !r.plain() {
			d.kind, d.step, d.everyNth, d.base = monthly, 1, r.interval, monthIndex(year, month)
		}
	case weekly:
		d.base = int(first) - (first.Weekday()-int(r.weekStart)+7)%7
		d.week, d.positions = r.weekMask(first), r.bySetPos
		if r.byMonth == 0 {
			d.week, d.positions = uint8(pick(uint32(d.week), r.bySetPos)), nil
		}
	case monthly:
		d.base = monthIndex(year, month)
	case yearly:
		d.base = year
		d.months = 0 // the tables know
	}
	if d.tables == nil && (d.kind == monthly || d.kind == yearly) {
		d.tables = r.tablesFrom(month, day)
	}
	if r.count > 0 {
		d.last = d.nth(r.count)
	}
	return d
}

// tablesFrom fills in the day, and for a yearly rule without months the month.
func (r *Rule) tablesFrom(month, day int) *tables {
	months := r.byMonth
	if r.freq == yearly && months == 0 {
		months = 1 << month
	}
	return makeTables(r, []int8{int8(day)}, months)
}

// weekMask gives the weekdays of the rule, bit 0 for the one that begins the
// week.
func (r *Rule) weekMask(first Day) uint8 {
	var mask uint8
	for _, w := range r.byDay {
		mask |= 1 << ((w.weekday + 7 - r.weekStart) % 7)
	}
	if mask == 0 {
		mask = 1 << ((first.Weekday() + 7 - int(r.weekStart)) % 7)
	}
	return mask
}

// nth gives the nth day, or the last one when there are fewer.
func (d *Dates) nth(n int) Day {
	day := d.first - 1
	for ; n > 0; n-- {
		next, ok := d.Next(day)
		if !ok {
			break
		}
		day = next
	}
	return day
}

// Next gives the first day after a day.
func (d *Dates) Next(after Day) (Day, bool) {
	if after >= d.last {
		return 0, false
	}
	from := max(after+1, d.first)
	var day Day
	ok := true
	switch d.kind {
	case daily:
		day = from
		if over := remainder(int(from)-d.base, d.step); over != 0 {
			day += Day(d.step - over)
		}
	case weekly:
		day, ok = d.nextInWeeks(from)
	default:
		day, ok = d.nextInMonths(from)
	}
	if !ok || day > d.last {
		return 0, false
	}
	return day, true
}

// Prev gives the last day before a day.
func (d *Dates) Prev(before Day) (Day, bool) {
	if before <= d.first {
		return 0, false
	}
	to := min(before-1, d.last)
	if to < d.first {
		return 0, false
	}
	var day Day
	ok := true
	switch d.kind {
	case daily:
		day = to - Day(remainder(int(to)-d.base, d.step))
	case weekly:
		day, ok = d.prevInWeeks(to)
	default:
		day, ok = d.prevInMonths(to)
	}
	if !ok || day < d.first {
		return 0, false
	}
	return day, true
}

// remainder is n % step for a period that is not before the first; most rules
// have an interval of one.
func remainder(n, step int) int {
	if step == 1 {
		return 0
	}
	return int(uint32(n) % uint32(step)) //nolint:gosec // both are small and not negative
}

func (d *Dates) nextInWeeks(from Day) (Day, bool) {
	n := int(from) - d.base
	week, offset := n/7, n%7
	if over := remainder(week, d.step); over != 0 {
		week, offset = week+d.step-over, 0
	}
	for {
		start := Day(d.base + week*7)
		if start > d.last {
			return 0, false
		}
		if mask := d.weekOf(start) >> offset; mask != 0 {
			return start + Day(offset+bits.TrailingZeros8(mask)), true
		}
		week, offset = week+d.step, 0
	}
}

func (d *Dates) prevInWeeks(to Day) (Day, bool) {
	n := int(to) - d.base
	week, offset := n/7, n%7
	if over := remainder(week, d.step); over != 0 {
		week, offset = week-over, 6
	}
	for ; week >= 0; week, offset = week-d.step, 6 {
		start := Day(d.base + week*7)
		if mask := d.weekOf(start) << (7 - offset) >> (7 - offset); mask != 0 {
			return start + Day(bits.Len8(mask)-1), true
		}
	}
	return 0, false
}

// weekOf gives the days of the week that begins on a day.
func (d *Dates) weekOf(start Day) uint8 {
	if d.months == 0 {
		return d.week
	}
	mask := d.week
	for rest := d.week; rest != 0; rest &= rest - 1 {
		offset := bits.TrailingZeros8(rest)
		if _, month, _ := civil(start + Day(offset)); !d.months.Has(month) {
			mask &^= 1 << offset
		}
	}
	return uint8(pick(uint32(mask), d.positions))
}

func (d *Dates) nextInMonths(from Day) (Day, bool) {
	year, month, day := civil(from)
	index := monthIndex(year, month)
	if up := d.periodFrom(index); up != index {
		index, day = up, 1
	}
	for {
		start := monthStart(index)
		if start > d.last {
			return 0, false
		}
		if mask := d.monthOf(index, start) >> (day - 1); mask != 0 {
			return start + Day(day-1+bits.TrailingZeros32(mask)), true
		}
		index, day = d.periodFrom(index+1), 1
	}
}

func (d *Dates) prevInMonths(to Day) (Day, bool) {
	year, month, day := civil(to)
	index := monthIndex(year, month)
	if down := d.periodTo(index); down != index {
		index, day = down, 31
	}
	for {
		start := monthStart(index)
		if mask := d.monthOf(index, start) << (32 - day) >> (32 - day); mask != 0 {
			return start + Day(bits.Len32(mask)-1), true
		}
		if start <= d.first {
			return 0, false
		}
		index, day = d.periodTo(index-1), 31
	}
}

// periodFrom gives the first month of a period at or after a month.
func (d *Dates) periodFrom(index int) int {
	if d.kind == monthly {
		if over := remainder(index-d.base, d.step); over != 0 {
			index += d.step - over
		}
		return index
	}
	if over := remainder(index/12-d.base, d.step); over != 0 {
		index = (index/12 + d.step - over) * 12
	}
	return index
}

// periodTo gives the last month of a period at or before a month.
func (d *Dates) periodTo(index int) int {
	if d.kind == monthly {
		return index - remainder(index-d.base, d.step)
	}
	if over := remainder(index/12-d.base, d.step); over != 0 {
		index = (index/12-over)*12 + 11
	}
	return index
}

// monthOf gives the days of one month of a period.
func (d *Dates) monthOf(index int, start Day) uint32 {
	year, month := index/12, index%12
	if d.kind == yearly {
		january := monthStart(year * 12)
		l := 0
		if leap(year) {
			l = 1
		}
		return d.tables.year[l][january.Weekday()-1][month]
	}
	if !d.months.Has(month + 1) {
		return 0
	}
	mask := d.tables.month[monthDays(year, month+1)-28][start.Weekday()-1]
	if d.everyNth > 1 {
		for rest := mask; rest != 0; rest &= rest - 1 {
			bit := bits.TrailingZeros32(rest)
			if (int(start)+bit-int(d.first))%d.everyNth != 0 {
				mask &^= 1 << bit
			}
		}
	}
	return mask
}
