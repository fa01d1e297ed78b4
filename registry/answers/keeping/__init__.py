"""How parts of answers are kept, packed and written: what every kind of answer can use."""
