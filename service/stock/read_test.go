package stock

import (
	"strings"
	"testing"
)

func TestReadSpeciesRefuses(t *testing.T) {
	t.Parallel()
	head := strings.Join(columns, "\t") + "\n"
	good := "a-b\tA b\t\tname\tfish\tindividual\t\tM\t1\t\t100\t\t\t\n"
	if list, err := readSpecies("# note\n" + head + good); err != nil || len(list) != 1 {
		t.Fatalf("a good table: %v, %v", list, err)
	}
	tests := map[string]struct{ table, want string }{
		"no rows":            {"# only a note\n", "first row"},
		"other columns":      {strings.Replace(head, "flow", "stream", 1), "first row"},
		"too few fields":     {head + "a-b\tA b\n", "wrong number of fields"},
		"a code twice":       {head + good + good, "two rows"},
		"no trade name":      {head + strings.Replace(good, "name", "", 1), "no trade name"},
		"an unknown group":   {head + strings.Replace(good, "fish", "bird", 1), `"bird" is no group`},
		"an unknown flow":    {head + strings.Replace(good, "\tM\t", "\tX\t", 1), "no flow band"},
		"a wrong number":     {head + strings.Replace(good, "\t100\t", "\t1O0\t", 1), "min_volume_l"},
		"an unknown fact":    {head + strings.Replace(good, "\t\t\n", "\tcolour: red\t\n", 1), `"colour" is no fact`},
		"a fact not named":   {head + strings.Replace(good, "\t\t\n", "\tred\t\n", 1), "name: value"},
		"an unknown mark":    {head + strings.Replace(good, "\t\t\n", "\tsign: red {sure}\t\n", 1), "no mark"},
		"no source":          {head + strings.Replace(good, "\t\t\n", "\tsign: red {published}\t\n", 1), "source"},
		"an unknown caution": {head + strings.Replace(good, "\t\t\n", "\t\tboredom\n", 1), `no caution "boredom"`},
	}
	for name, tc := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := readSpecies(tc.table)
			if err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("error %v, want one that says %q", err, tc.want)
			}
		})
	}
}
