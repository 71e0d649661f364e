"""The line file: what is refused, what it becomes."""
