"""PDF handouts: bars engraved as tab, laid out on pages and painted to a file."""
