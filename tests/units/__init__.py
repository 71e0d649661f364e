"""Quantities as people write and read them."""
