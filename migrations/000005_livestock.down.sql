DROP TABLE livestock_event;
DROP TABLE livestock;
DROP TABLE species;
DROP TABLE catalogue_species;
