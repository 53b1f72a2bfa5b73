"""The result tables: what each column means, and how a table is written to the same bytes every time."""

from .spec import Column, TableSpec, read_table, write_table

__all__ = ["Column", "TableSpec", "read_table", "write_table"]
