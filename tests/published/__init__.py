"""Checks against published values, one file a source."""
