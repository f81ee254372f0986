package rounds

// Both plans a round exactly and by search, whatever its length.
func Both(in Input) (Plan, Plan) {
	p := newProblem(in)
	return p.plan(p.exact()), p.plan(p.search(in.Seed))
}
