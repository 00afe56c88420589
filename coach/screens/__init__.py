"""Floor 6: the full-screen coach."""
