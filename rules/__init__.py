"""What is true about trays, with no input, output or clock."""
