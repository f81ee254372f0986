DROP TABLE equipment;
DROP TABLE tank;
