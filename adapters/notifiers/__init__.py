"""One channel a file: each takes messages out."""
