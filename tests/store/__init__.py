"""Tests of `app.store`."""
