"""Tests of `app.core`."""
