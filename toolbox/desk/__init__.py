"""The desk: a page on this machine for people who dislike terminals."""
