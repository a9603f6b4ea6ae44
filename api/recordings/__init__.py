"""Recordings: uploaded bytes, what they decode to, whose they are."""
