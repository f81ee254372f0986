DROP FUNCTION ensure_reading_month(date);
DROP TABLE reading;
DROP TABLE parameter;
