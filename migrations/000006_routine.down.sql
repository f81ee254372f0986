DROP TABLE due_item;
DROP TABLE item_close;
DROP TABLE work_record;
DROP TABLE pause;
DROP TABLE ramp_event;
DROP TABLE routine_revision;
DROP TABLE routine;
