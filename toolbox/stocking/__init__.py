"""Stocking: from the measures of a water to a plan, and the arithmetic of ponds."""
