"""Which build a serial or a range of serials is, and on what grounds."""
