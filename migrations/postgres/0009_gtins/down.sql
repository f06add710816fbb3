DROP TABLE item_gtins;
