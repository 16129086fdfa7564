"""When it is a fault: the catalogue, the limits, what counts."""
