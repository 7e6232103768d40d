"""What is read from the traces of a tray beyond its limits: care, conditions, causes and drift."""
