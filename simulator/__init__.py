"""A pretend bench that enters by the sensor door."""
