"""A block being played: which bar comes next, what sounds, and what is written of it. No Textual."""
