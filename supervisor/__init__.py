"""The headless supervisor."""
