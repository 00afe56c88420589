"""The ear: what a recorded take says beside the plucks that were meant. Knows no practice, no screen, no sound card."""
