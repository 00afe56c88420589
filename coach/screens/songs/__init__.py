"""Pages of songs: songbook, arrangements, chart, and writing files."""
