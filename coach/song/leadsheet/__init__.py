"""Lead sheets from MusicXML: a checked tree, then parts, chords, words and tune of a song."""
