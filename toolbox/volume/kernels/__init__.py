"""Arithmetic on triangles, cells and rays, compiled."""
