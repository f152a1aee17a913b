"""Laybook: a workshop book for people who reface, restore and make woodwind mouthpieces."""
