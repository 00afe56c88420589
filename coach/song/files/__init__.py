"""Song files: TOML into a song, problems with their lines, and changes that keep what the player wrote."""
