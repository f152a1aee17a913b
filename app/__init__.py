"""Laybook: a workshop book for people who reface, restore and make woodwind mouthpieces."""

VERSION = "0.1.0"
