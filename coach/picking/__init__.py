"""Floor 3: the pattern grid, its layers, and a pattern realised on left-hand shapes."""
