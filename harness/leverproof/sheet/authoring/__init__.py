"""A first engine sheet from the answers to questions that a pilot's handbook can answer."""
