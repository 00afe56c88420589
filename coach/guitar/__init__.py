"""Floor 2: tunings, left-hand shapes, the trade's open shapes and the bass strings a shape gives the thumb. Pure."""
