"""The result tables: what each column means, and how a table is written to the same bytes every time."""

from .spec import Column, TableSpec, read_described, read_table, read_typed, write_table, write_typed

__all__ = ["Column", "TableSpec", "read_described", "read_table", "read_typed", "write_table", "write_typed"]
