"""The picking hand: patterns and their files, layers, plucks of a pattern over chord shapes, and tab drawing."""
