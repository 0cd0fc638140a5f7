"""From a depth grid to what its surface is like."""
