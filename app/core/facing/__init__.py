"""One facing: readings as typed, the curves, the fit, the rails against each other."""
