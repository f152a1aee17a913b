"""Pages of targets, plans and the bench."""
