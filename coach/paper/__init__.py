"""Export: PDF handouts, MusicXML, MIDI files, text tab and zip packs, made from a piece's plucks."""
