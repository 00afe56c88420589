"""PDF handouts: bars engraved as tab, shape diagrams, pages of placed values, painted to a file."""
