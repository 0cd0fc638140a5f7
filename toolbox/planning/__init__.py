"""Planning: where to sound next, and how to begin."""
