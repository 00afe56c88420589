"""Floor 1: spelled notes and pitches, chords, meters, exact beats and tempo plans. Pure."""
