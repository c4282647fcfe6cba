"""One reversible step in each file."""
