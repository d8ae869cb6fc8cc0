"""The project file: what it may say, how it is read, and how it is written back."""

from envelope.project.load import load, load_text
from envelope.project.schema.job import json_schema

__all__ = ["json_schema", "load", "load_text"]
