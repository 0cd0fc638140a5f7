"""Arithmetic on nets and grids, compiled."""
