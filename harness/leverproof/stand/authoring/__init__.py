"""A first stand file, sheet and adapter for an author, from the answers to a few questions."""
