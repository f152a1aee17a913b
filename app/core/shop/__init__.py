"""The shop and its book: settings, old notebooks, backups, forgetting."""
