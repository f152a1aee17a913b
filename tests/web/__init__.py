"""Tests of `app.web`."""
