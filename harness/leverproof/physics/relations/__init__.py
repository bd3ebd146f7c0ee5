"""Published relations between engine quantities, one file a subject: elementwise, in SI units."""
