"""Arrays, geometry, filters, and a value with its ±."""
