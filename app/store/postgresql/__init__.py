"""What only a server needs."""
