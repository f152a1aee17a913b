"""Numbers and rules: standard library, numpy and scipy, nothing else."""
