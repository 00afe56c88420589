"""What can be practised: drills of patterns and of songs, loops, corners, and the choices made for a song."""
