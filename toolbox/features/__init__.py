"""Features: what a person reads off the bed, and where to cast at it."""
