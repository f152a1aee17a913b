"""What the shop writes down: one module a noun, queries and rows."""
