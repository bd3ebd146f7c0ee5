"""Engine sheets: what hardware an engine is, with a source for every datum."""
