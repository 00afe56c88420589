"""A block being played: its set-up, the conductor of bars, the run, and the writer of takes to the log."""
