"""What is larger than memory, gone through piece by piece."""
