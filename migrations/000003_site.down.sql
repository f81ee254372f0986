DROP TABLE closure;
DROP TABLE site_access_notes;
DROP TABLE site;
DROP TABLE customer;
