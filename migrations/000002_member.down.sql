DROP TABLE key_hash;
DROP TABLE access_key;
DROP TABLE member;
