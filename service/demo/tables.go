package demo

import (
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"tankward/service/fleet"
	"tankward/testdata/demo"
)

// row is a line of a table, by column.
type row map[string]string

// tables are the data of the scenario.
type tables struct{ people, sites, tanks, stock []row }

func readTables() (tables, error) {
	var t tables
	for _, one := range []struct {
		text string
		into *[]row
	}{{demo.People, &t.people}, {demo.Sites, &t.sites}, {demo.Tanks, &t.tanks}, {demo.Stock, &t.stock}} {
		rows, err := readTable(one.text)
		if err != nil {
			return t, err
		}
		*one.into = rows
	}
	return t, nil
}

// readTable reads fields that are separated by tabs, below a line of names.
func readTable(text string) ([]row, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comma, r.Comment = '\t', '#'
	lines, err := r.ReadAll()
	if err != nil {
		return nil, err
	}
	rows := make([]row, 0, len(lines))
	for _, line := range lines[1:] {
		one := row{}
		for i, name := range lines[0] {
			one[name] = line[i]
		}
		rows = append(rows, one)
	}
	return rows, nil
}

// having gives the rows with a value in a column.
func having(rows []row, column, value string) []row {
	return slices.DeleteFunc(slices.Clone(rows), func(r row) bool { return r[column] != value })
}

// numbers reads a list of numbers.
func numbers(s, by string) ([]float64, error) {
	var out []float64
	for part := range strings.SplitSeq(s, by) {
		n, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
		if err != nil {
			return nil, fmt.Errorf("%q is no list of numbers", s)
		}
		out = append(out, n)
	}
	return out, nil
}

// whole reads a whole number; an empty field is 0.
func (r row) whole(column string) (int, error) {
	if r[column] == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(r[column])
	if err != nil {
		return 0, fmt.Errorf("%s: %q is no whole number", column, r[column])
	}
	return n, nil
}

// The middle of the scenario's region, and the kilometres of a degree there.
const (
	middleLat, middleLon = 50.4700, -4.7200
	kmPerLat             = 111.2
	kmPerLon             = 70.9
)

// position reads kilometres east and north of the middle; nil when the field is
// empty.
func (r row) position(column string) (*fleet.Point, error) {
	if r[column] == "" {
		return nil, nil //nolint:nilnil // no position
	}
	km, err := numbers(r[column], ",")
	if err != nil || len(km) != 2 {
		return nil, fmt.Errorf("%s: %q is no position", column, r[column])
	}
	return &fleet.Point{Lat: middleLat + km[1]/kmPerLat, Lon: middleLon + km[0]/kmPerLon}, nil
}

// minutes reads a time of day.
func (r row) minutes(column string) (int, error) {
	h, m, _ := strings.Cut(r[column], ":")
	hour, err := strconv.Atoi(h)
	if err != nil {
		return 0, fmt.Errorf("%s: %q is no time of day", column, r[column])
	}
	minute, err := strconv.Atoi(m)
	if err != nil {
		return 0, fmt.Errorf("%s: %q is no time of day", column, r[column])
	}
	return hour*60 + minute, nil
}

// shape reads the shape of a tank, such as "box 120x50x50".
func (r row) shape() (fleet.Shape, error) {
	form, size, _ := strings.Cut(r["shape"], " ")
	n, err := numbers(strings.ReplaceAll(size, "+", "x"), "x")
	if err != nil {
		return fleet.Shape{}, err
	}
	switch {
	case form == "box" && len(n) == 3:
		return fleet.Shape{Form: fleet.Box, LengthCM: n[0], WidthCM: n[1], HeightCM: n[2]}, nil
	case form == "bow" && len(n) == 4:
		return fleet.Shape{Form: fleet.BowFront, LengthCM: n[0], HeightCM: n[1], WidthCM: n[2], BowCM: n[3]}, nil
	case form == "cylinder" && len(n) == 2:
		return fleet.Shape{Form: fleet.Cylinder, DiameterCM: n[0], HeightCM: n[1]}, nil
	case form == "hexagon" && len(n) == 2:
		return fleet.Shape{Form: fleet.Hexagon, LengthCM: n[0], HeightCM: n[1]}, nil
	case form == "stated" && len(n) == 1:
		return fleet.Shape{Form: fleet.Stated, StatedL: n[0]}, nil
	}
	return fleet.Shape{}, fmt.Errorf("%q is no shape", r["shape"])
}
