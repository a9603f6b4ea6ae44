"""The class sheet, in a terminal and as one page."""
