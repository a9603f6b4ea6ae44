"""Reconciling: when a class is stale, and who brings it up to date."""
