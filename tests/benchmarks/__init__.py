"""Benchmarks: commands that print ratios measured side by side in one run. Never timed tests."""
