"""Two reading sets of one piece, or of two: what changed, and whether the gauges can tell."""
