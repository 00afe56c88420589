"""Paper: what is printed, exported and handed out, made from a piece's plucks."""
