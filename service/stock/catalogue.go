package stock

import (
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"slices"
	"strings"
	"sync"
)

//go:embed species.tsv
var speciesTSV string

// shelf is the catalogue, read once.
type shelf struct {
	species []Species
	byCode  map[string]int
	words   []string // the names of each species in lower case, for the search
}

// builtIn reads the embedded catalogue at the first use. A mistake in it is
// a mistake of the program, which its tests find.
var builtIn = sync.OnceValue(func() shelf {
	species, err := readSpecies(speciesTSV)
	if err != nil {
		panic("stock: built-in catalogue: " + err.Error())
	}
	s := shelf{species: species, byCode: make(map[string]int, len(species)), words: make([]string, len(species))}
	for i, sp := range species {
		s.byCode[sp.Code] = i
		names := slices.Concat([]string{sp.ScientificName, sp.TradeName}, sp.Synonyms, sp.OtherNames)
		s.words[i] = strings.ToLower(strings.Join(names, "\n"))
	}
	return s
})

// Catalogue gives the built-in species, sorted by code.
func Catalogue() []Species { return slices.Clone(builtIn().species) }

// ByCode gives the built-in species of a code.
func ByCode(code string) (Species, bool) {
	s := builtIn()
	i, ok := s.byCode[code]
	if !ok {
		return Species{}, false
	}
	return s.species[i], true
}

// edition is the catalogue's fingerprint, worked out once.
var edition = sync.OnceValue(func() string {
	b, err := json.Marshal(builtIn().species)
	if err != nil {
		panic("stock: built-in catalogue: " + err.Error())
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:8])
})

// Edition names what the catalogue holds: it changes with any change of it, the
// words of its cautions included.
func Edition() string { return edition() }

// Search gives the built-in species in whose scientific names, synonyms and
// trade names every word of the text occurs, whatever the case, sorted by code.
// A text without a word gives the whole catalogue.
func Search(text string) []Species {
	s := builtIn()
	var found []Species
	for i, names := range s.words {
		if hasAll(names, strings.Fields(strings.ToLower(text))) {
			found = append(found, s.species[i])
		}
	}
	return found
}

// hasAll says whether every word occurs in the names.
func hasAll(names string, words []string) bool {
	for _, w := range words {
		if !strings.Contains(names, w) {
			return false
		}
	}
	return true
}
