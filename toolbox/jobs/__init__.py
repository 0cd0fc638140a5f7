"""Jobs: work that others ask for, each in a process and a folder of its own, within limits."""
