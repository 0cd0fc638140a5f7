"""Marks: where to put a bait, from the bank or from a boat."""
