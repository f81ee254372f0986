DROP TABLE stored_answer;
DROP TABLE audit_entry;
DROP TABLE change;
DROP TABLE change_head;
DROP TABLE organisation;
DROP TABLE organisation_directory;
