"""Features: what a person reads off the bed."""
