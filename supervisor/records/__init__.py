"""The record: what happened, and how to go through it again."""
