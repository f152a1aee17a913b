"""Pages of the gauge register."""
