package care

import "math/bits"

// tables hold the days a rule gives in every sort of month and year, so that
// stepping from one to the next is a look-up. Bit 0 is the first of the month.
// Weekdays in tables count from 0 for Monday.
type tables struct {
	month [4][7]uint32     // by length-28 and the weekday of the first
	year  [2][7][12]uint32 // by leap year and the weekday of 1 January
}

// makeTables works out the days of a rule with the given days of the month and
// months, which may come from the first day.
func makeTables(r *Rule, days []int8, months MonthSet) *tables {
	t := &tables{}
	if r.freq == yearly {
		for weekday := range 7 {
			t.year[0][weekday] = yearMasks(r, days, months, 0, weekday)
			t.year[1][weekday] = yearMasks(r, days, months, 1, weekday)
		}
		return t
	}
	for length := 28; length <= 31; length++ {
		for weekday := range 7 {
			mask := monthMask(r, days, length, weekday)
			switch {
			case r.freq == monthly:
				mask = pick(mask, r.bySetPos)
			case !picksOne(r.bySetPos):
				mask = 0
			}
			t.month[length-28][weekday] = mask
		}
	}
	return t
}

// monthMask gives the days of one month that BYMONTHDAY and BYDAY let through.
func monthMask(r *Rule, days []int8, length, weekday int) uint32 {
	all := uint32(1)<<length - 1
	mask := all
	if len(days) > 0 {
		mask = 0
		for _, d := range days {
			n := int(d)
			if n < 0 {
				n += length + 1
			}
			if n >= 1 {
				mask |= 1 << (n - 1)
			}
		}
	}
	if len(r.byDay) > 0 && !ordinalsOfYear(r) {
		var named uint32
		for _, w := range r.byDay {
			named |= nthBit(weekdayBits(int(w.weekday)-1, weekday)&all, int(w.nth))
		}
		mask &= named
	}
	return mask & all
}

// ordinalsOfYear says that the numbers of BYDAY count within the year.
func ordinalsOfYear(r *Rule) bool { return r.freq == yearly && r.byMonth == 0 }

// weekdayBits marks one weekday in a month whose first has another.
func weekdayBits(weekday, first int) uint32 {
	return 0x1020_4081 << ((weekday - first + 7) % 7)
}

// nthBit keeps the nth bit set, from the end when nth is negative; all for 0.
func nthBit(mask uint32, nth int) uint32 {
	if nth == 0 {
		return mask
	}
	if nth < 0 {
		nth += bits.OnesCount32(mask) + 1
	}
	for ; nth > 1 && mask != 0; nth-- {
		mask &= mask - 1
	}
	if nth < 1 {
		return 0
	}
	return mask & -mask
}

// pick keeps the days of a month, or of a week, that BYSETPOS names.
func pick(mask uint32, positions []int16) uint32 {
	if len(positions) == 0 {
		return mask
	}
	var picked uint32
	for _, p := range positions {
		picked |= nthBit(mask, int(p))
	}
	return picked
}

// picksOne says whether BYSETPOS lets the only member of a set through.
func picksOne(positions []int16) bool { return pick(1, positions) == 1 }

// yearMasks gives the days of one sort of year, month by month.
func yearMasks(r *Rule, days []int8, months MonthSet, leapDay, weekday int) [12]uint32 {
	year := 2001 // any year of that length
	if leapDay == 1 {
		year = 2000
	}
	var masks [12]uint32
	start := weekday
	for m := range 12 {
		length := monthDays(year, m+1)
		if months.Has(m + 1) {
			masks[m] = monthMask(r, days, length, start%7)
		}
		start += length
	}
	if len(r.byDay) > 0 && ordinalsOfYear(r) {
		keepOrdinals(&masks, r.byDay, year, weekday)
	}
	if len(r.bySetPos) > 0 {
		keepPositions(&masks, r.bySetPos)
	}
	return masks
}

// keepOrdinals keeps the weekdays named, their numbers counted in the year.
func keepOrdinals(masks *[12]uint32, named []weekdayNum, year, weekday int) {
	total, n := 365, 0
	if leap(year) {
		total = 366
	}
	for m := range 12 {
		for d := range monthDays(year, m+1) {
			if !namesDay(named, n, total, weekday) {
				masks[m] &^= 1 << d
			}
			n++
		}
	}
}

// namesDay says whether one of the weekdays is the nth day of the year.
func namesDay(named []weekdayNum, n, total, weekday int) bool {
	for _, w := range named {
		if (weekday+n)%7 != int(w.weekday)-1 {
			continue
		}
		if w.nth == 0 || int(w.nth) == n/7+1 || int(-w.nth) == (total-1-n)/7+1 {
			return true
		}
	}
	return false
}

// keepPositions keeps the days of the year that BYSETPOS names.
func keepPositions(masks *[12]uint32, positions []int16) {
	total := 0
	for _, m := range masks {
		total += bits.OnesCount32(m)
	}
	var kept [12]uint32
	for _, p := range positions {
		nth := int(p)
		if nth < 0 {
			nth += total + 1
		}
		for m := 0; m < 12 && nth >= 1; m++ {
			kept[m] |= nthBit(masks[m], nth)
			nth -= bits.OnesCount32(masks[m])
		}
	}
	*masks = kept
}
