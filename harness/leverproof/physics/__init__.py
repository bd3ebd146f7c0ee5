"""Physics of engine and surroundings: relations, gas path, cylinder, propeller and the predictor."""
