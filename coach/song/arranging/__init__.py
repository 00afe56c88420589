"""Arrangements proposed from a chart, and the player's own say over them."""
