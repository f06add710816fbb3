DROP TABLE print_steps;
DROP TABLE label_prints;
DROP TABLE printer_versions;
DROP TABLE printers;
DROP TABLE item_label_versions;
DROP TABLE item_labels;
DROP TABLE maker_versions;
DROP TABLE makers;
