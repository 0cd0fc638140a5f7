"""Fuzzing: any bytes given to a reader give a result or one of our errors."""
