"""Taking apart and refitting: what blocks what, the cheapest order of work, its time and price."""
