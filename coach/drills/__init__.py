"""What can be practised: drills of patterns, of songs, their corners, and the ids they have."""
