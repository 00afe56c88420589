"""The song pages: song book, chart, new song, arranging and export."""
