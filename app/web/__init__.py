"""Pages, forms, the JSON service and the command line."""
