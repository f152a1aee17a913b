"""Pages of the shop, its customers and its book."""
