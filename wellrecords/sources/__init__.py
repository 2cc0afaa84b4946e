"""Sources: files read as text by layouts, which are data."""

from wellrecords.sources.draft import draft_layout
from wellrecords.sources.layout import Layout, load_layout, shipped_layouts
from wellrecords.sources.raw import RawTable
from wellrecords.sources.read import read_source

__all__ = ["Layout", "RawTable", "draft_layout", "load_layout", "read_source", "shipped_layouts"]
