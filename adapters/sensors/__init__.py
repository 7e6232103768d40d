"""One wire a file: each brings readings in."""
