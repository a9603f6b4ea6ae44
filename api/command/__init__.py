"""The command line `intervouch`."""
