"""File formats: read and write, nothing computed."""
