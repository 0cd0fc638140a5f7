"""Many waters: the whole job for each of them, over processes or machines, resumable."""
