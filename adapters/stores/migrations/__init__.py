"""The steps from one schema to the next; read only when a step is due."""
