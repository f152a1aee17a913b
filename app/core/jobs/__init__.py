"""A job from drop-off to return: stages, charges, papers, batches."""
