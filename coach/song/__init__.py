"""Songs: the chart, its parts and words, arrangements of it, and the piece that comes of playing one."""
