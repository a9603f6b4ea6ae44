"""The engine: plain values in, plain values out. No files, no clock, no network."""
