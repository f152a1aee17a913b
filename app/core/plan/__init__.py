"""From here to there: targets, what to take off, the bench, what a stroke takes."""
