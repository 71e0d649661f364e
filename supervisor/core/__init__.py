"""Pure decisions: events in, actions out."""
