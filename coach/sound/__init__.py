"""Floor 5: the one clock, click and plucked-string voices, the mixed-ahead engine, MIDI and devices."""
