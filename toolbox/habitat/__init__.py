"""Habitat: plants, and the water and bed that suit a species."""
