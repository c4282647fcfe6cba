"""Arrays in, arrays out: crank speed, orders, envelope, lines, events, level."""
