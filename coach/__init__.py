"""Steady Thumb: a terminal practice coach for a person who sings and plays fingerstyle guitar."""

__version__ = "0.1.0"
