"""Tests, in folders that mirror `app`; `published` holds checks against outside sources."""
