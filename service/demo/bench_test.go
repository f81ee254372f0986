package demo_test

import (
	"testing"

	"tankward/service/demo"
)

func BenchmarkMake(b *testing.B) {
	for b.Loop() {
		if _, err := demo.Make(demo.Seed, tuesday); err != nil {
			b.Fatal(err)
		}
	}
}
