"""Pages of readings and of one facing."""
