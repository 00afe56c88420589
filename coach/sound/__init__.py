"""Sound: the one clock, click and plucked-string voices, the engine that mixes ahead, MIDI and devices."""
