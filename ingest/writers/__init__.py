"""Writers: one format a file, each turns a `Recording` into bytes."""

from ingest.writers.fit import FitOptions, write_fit
from ingest.writers.gpx import write_gpx
from ingest.writers.table import TableOptions, write_csv
from ingest.writers.tcx import write_tcx

__all__ = ["FitOptions", "TableOptions", "write_csv", "write_fit", "write_gpx", "write_tcx"]
