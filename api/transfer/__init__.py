"""A class as a class folder, out of the service and into it."""
