"""Pages of jobs, pieces and papers."""
