"""Files into recordings: FIT, TCX, GPX and CSV, gzipped or in a zip."""

from ingest.reading import FileReading, read_file

__all__ = ["FileReading", "read_file"]
