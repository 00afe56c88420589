"""Widgets and helpers that several pages use: tab view, finder, choices, help, player's actions, theme."""
