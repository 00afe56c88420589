"""The fretting hand: tunings, the neck, chord shapes, their search, cost and names, routes, key and capo. Pure."""
