"""What is known of the player: evidence, memory, steady tempo, progress, plateaus, diagnosis and remedies."""
