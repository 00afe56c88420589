"""Floor 1: spelled notes and pitches, chords, meters, exact beats and tempo plans. Pure; imports nothing of ours but errors."""
