"""Faults injected on purpose: what must not be lost when they happen."""
