"""Pieces as MusicXML scores."""
