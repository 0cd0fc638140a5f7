"""Change: what a bed gained and lost between two surveys."""
