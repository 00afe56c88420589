"""Making an arrangement: proposed from a chart (key, shapes, patterns, the tune on top) and overridden by hand."""
