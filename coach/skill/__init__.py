"""What is known of the player: steady tempo, memory, plateaus, trouble and remedies, from the log."""
