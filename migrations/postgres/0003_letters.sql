-- Letters are asked for by the sampling event that they tell of.
CREATE INDEX letter_parent ON letter (parent_id, known_to);
