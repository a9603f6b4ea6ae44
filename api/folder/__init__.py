"""The class folder: one class's plan, roster, scores, pins and recordings, read from files."""

from api.folder.errors import ClassFolderError
from api.folder.reading import read_class_folder

__all__ = ["ClassFolderError", "read_class_folder"]
