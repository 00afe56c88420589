"""Sound: the clock, click, plucked-string and hummed voices, the engine that mixes ahead, MIDI and audio devices."""
