"""Pages that put two reading sets side by side."""
