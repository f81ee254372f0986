ALTER TABLE work_record DROP CONSTRAINT work_record_org_id_visit_id_fkey;
DROP TABLE visit_item;
DROP TABLE visit;
DROP TABLE round;
