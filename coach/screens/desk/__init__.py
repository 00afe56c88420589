"""The desk: a progression typed, seen and heard."""
