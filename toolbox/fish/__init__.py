"""Fish: from echoes to numbers, each with how far to trust it."""
