"""Arithmetic on isolines, compiled."""
