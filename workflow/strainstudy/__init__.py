"""From the volts of soft strain sensors worn by people to tables, figures and a report.

The package computes; it knows nothing of the workflow engine that calls it. DEVELOPERS.md holds the map.
"""

from importlib.metadata import version

__version__ = version("strainstudy")
