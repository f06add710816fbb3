DROP TABLE reading_voids;
