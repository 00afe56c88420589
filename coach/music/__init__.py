"""Music theory: spelled notes, keys, chords and numerals, meters, exact tempo plans and tempo ramps. Pure functions."""
