"""Arithmetic on windows of grids, compiled."""
