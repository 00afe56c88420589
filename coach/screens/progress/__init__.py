"""The progress page, its words and its plots."""
