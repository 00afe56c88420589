"""Floor 2: tunings and the neck, left-hand shapes searched, costed and named, routes, stand-ins, key and capo. Pure."""
