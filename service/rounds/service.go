package rounds

import "math"

// Figures of carrying by hand; all common practice.
const (
	ContainerL        = 20  // litres of a container: what one hand may lift
	ContainersPerTrip = 2   // one in each hand
	CarryMetresPerMin = 40  // of the distance, on level ground
	FloorMinutes      = 1.5 // one floor
)

// Service is the time a visit takes.
type Service struct {
	Setup    int // parking, announcing, keys: once per site
	Carrying int // containers from the van to the tanks
	Active   int // hands on the work
}

// Total gives the minutes of the visit.
func (s Service) Total() int { return s.Setup + s.Carrying + s.Active }

// Carry is the way from the van to the tanks of a site.
type Carry struct{ DistanceM, Floors int }

// Trips gives how often one walks to carry so many containers.
func Trips(containers int) int { return ceilDiv(containers, ContainersPerTrip) }

// Minutes gives the time to carry so many containers, rounded up.
func (c Carry) Minutes(containers int) int {
	// The last digits of the sum may not push a whole minute up.
	trip := float64(c.DistanceM)/CarryMetresPerMin + float64(c.Floors)*FloorMinutes
	return int(math.Ceil(float64(Trips(containers))*trip - 1e-9))
}

// ServiceMinutes gives the time of a visit: setup once, the containers carried,
// and the active minutes of its pieces of work one after the other. Waits are not
// in it: the order of work on site fills them.
func ServiceMinutes(setup int, carry Carry, containers int, active []int) Service {
	s := Service{Setup: setup, Carrying: carry.Minutes(containers)}
	for _, m := range active {
		s.Active += m
	}
	return s
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }
