package repo

import (
	"context"

	"github.com/google/uuid"

	"tankward/service/care/caution"
	"tankward/service/mark"
	"tankward/service/resource"
	"tankward/service/stock"
	"tankward/service/tx"
)

var _ stock.Reads = (*DB)(nil)

type speciesFactJSON struct {
	Fact   string   `json:"fact"`
	Low    *float64 `json:"low,omitempty"`
	High   *float64 `json:"high,omitempty"`
	Value  *float64 `json:"value,omitempty"`
	Text   string   `json:"text,omitempty"`
	Unit   string   `json:"unit,omitempty"`
	Mark   string   `json:"mark"`
	Source string   `json:"source,omitempty"`
}

type cautionJSON struct {
	Code   string `json:"code"`
	Text   string `json:"text"`
	Mark   string `json:"mark,omitempty"`
	Source string `json:"source,omitempty"`
}

type speciesRow struct {
	metaRow
	ScientificName string
	Synonyms       []string
	TradeName      string
	SpeciesGroup   string
	Counting       string
	Facts          []speciesFactJSON
	Cautions       []cautionJSON
}

func (r speciesRow) species() stock.OwnSpecies {
	f := stock.SpeciesFields{
		ScientificName: r.ScientificName, TradeName: r.TradeName,
		Group: stock.Group(r.SpeciesGroup), Counting: stock.Counting(r.Counting),
	}
	if len(r.Synonyms) > 0 {
		f.Synonyms = r.Synonyms
	}
	for _, k := range r.Facts {
		f.Facts = append(f.Facts, stock.Fact{
			Fact: stock.FactName(k.Fact), Low: k.Low, High: k.High, Value: k.Value, Text: k.Text, Unit: k.Unit,
			Mark: mark.Mark(k.Mark), Source: k.Source,
		})
	}
	for _, c := range r.Cautions {
		f.Cautions = append(f.Cautions, caution.Caution{Code: c.Code, Text: c.Text, Mark: mark.Mark(c.Mark), Source: c.Source})
	}
	return stock.OwnSpecies{Meta: r.meta(), Fields: f}
}

func speciesFields(f stock.SpeciesFields) []any {
	facts := make([]speciesFactJSON, len(f.Facts))
	for i, k := range f.Facts {
		facts[i] = speciesFactJSON{
			Fact: string(k.Fact), Low: k.Low, High: k.High, Value: k.Value, Text: k.Text, Unit: k.Unit,
			Mark: string(k.Mark), Source: k.Source,
		}
	}
	cautions := make([]cautionJSON, len(f.Cautions))
	for i, c := range f.Cautions {
		cautions[i] = cautionJSON{Code: c.Code, Text: c.Text, Mark: string(c.Mark), Source: c.Source}
	}
	return []any{f.ScientificName, nonNil(f.Synonyms), f.TradeName, string(f.Group), string(f.Counting), facts, cautions}
}

const speciesColumns = `
		id,
		version,
		created_at,
		updated_at,
		archived_at,
		scientific_name,
		synonyms,
		trade_name,
		species_group,
		counting,
		facts,
		cautions`

var speciesSQL = statements{
	resource: "species",
	insert: `
	INSERT INTO species (
		org_id,
		id,
		version,
		created_at,
		updated_at,
		create_hash,
		scientific_name,
		synonyms,
		trade_name,
		species_group,
		counting,
		facts,
		cautions
	)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
	ON CONFLICT (org_id, id) DO NOTHING`,
	save: `
	UPDATE species
	SET
		version = $3,
		updated_at = $4,
		archived_at = $5,
		scientific_name = $6,
		synonyms = $7,
		trade_name = $8,
		species_group = $9,
		counting = $10,
		facts = $11,
		cautions = $12
	WHERE org_id = $1 AND id = $2`,
	load: `
	SELECT` + speciesColumns + `
	FROM species
	WHERE org_id = $1 AND id = $2
	FOR NO KEY UPDATE`,
	hash: `SELECT create_hash FROM species WHERE org_id = $1 AND id = $2`,
}

// Species gives the store of own species in this transaction.
func (t *Tx) Species() resource.Store[stock.SpeciesFields] {
	return store[stock.SpeciesFields, speciesRow]{t: t, sql: speciesSQL, row: speciesRow.species, fields: speciesFields}
}

// LivestockOf counts the entries in use of an own species.
func (t *Tx) LivestockOf(ctx context.Context, species uuid.UUID) (int, error) {
	var n int
	err := t.tx.QueryRow(ctx, `
	SELECT count(*)
	FROM livestock
	WHERE org_id = $1 AND species_own = $2 AND archived_at IS NULL`, t.org, species).Scan(&n)
	return n, translate("count the livestock of a species", err)
}

// OwnSpecies gives one own species.
func (db *DB) OwnSpecies(ctx context.Context, s tx.Scope, id uuid.UUID) (stock.OwnSpecies, error) {
	return get(ctx, db, s, named("species", id, speciesRow.species), `
	SELECT`+speciesColumns+`
	FROM species
	WHERE org_id = $1 AND id = $2`)
}

// OwnSpeciesAfter gives own species after a place in the order of stock's list,
// which is kept by the collation "C".
func (db *DB) OwnSpeciesAfter(ctx context.Context, s tx.Scope, f stock.SpeciesFilter, after stock.SpeciesKey, limit int) ([]stock.OwnSpecies, int64, error) {
	var out []stock.OwnSpecies
	var head int64
	err := db.read(ctx, s,
		query{selectHead, []any{s.Org}, value(&head)},
		query{`
	SELECT` + speciesColumns + `
	FROM species
	WHERE org_id = $1
		AND (archived_at IS NOT NULL) = $2
		AND ($3::text IS NULL OR species_group = $3)
		AND (lower(scientific_name COLLATE "C"), id::text COLLATE "C") > ($4, $5)
		AND NOT EXISTS (
			SELECT 1
			FROM unnest($6::text[]) AS w (word)
			WHERE strpos(lower(concat_ws(E'\n', scientific_name, trade_name, array_to_string(synonyms, E'\n'))), w.word) = 0
		)
	ORDER BY lower(scientific_name COLLATE "C"), id::text COLLATE "C"
	LIMIT $7`, []any{s.Org, f.Archived, nonEmpty(string(f.Group)), after.Name, after.ID, nonNil(f.Words()), limit},
			into(&out, speciesRow.species)})
	return out, head, err
}
