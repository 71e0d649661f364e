"""The line file: what a workshop writes down once, and what it becomes."""
