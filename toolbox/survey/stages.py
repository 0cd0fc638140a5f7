"""Stages of a run, apart from it so that who only tells of them need not load it."""

__all__ = ["STAGES"]

STAGES = (
    "reading",
    "checking",
    "making the bed",
    "planning",
    "gridding",
    "terrain",
    "reading the bed",
    "tables",
    "habitat",
    "writing",
)
"""What a run tells its watcher, in order."""
