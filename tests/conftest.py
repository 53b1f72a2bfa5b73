"""Shared test helpers (`registry`) lie beside this file; pytest puts its folder on the import path."""
