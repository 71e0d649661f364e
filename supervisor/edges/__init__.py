"""The edges: where requests of people come in and what they see goes out."""
