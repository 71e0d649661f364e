"""Formulas of the trade, stateless, each with its source."""
