"""What is kept, and where."""
