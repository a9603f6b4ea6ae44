"""A generator of whole class folders whose truth is known; it knows nothing of `reconcile`."""
