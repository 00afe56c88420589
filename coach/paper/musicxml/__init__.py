"""MusicXML 4.0 scores of a piece: the guitar on notes and tab, the voice with its words."""
