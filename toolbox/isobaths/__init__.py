"""Isobaths: lines of equal depth, and the water between them."""
