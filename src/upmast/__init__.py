"""upmast: the antenna line of a cell site, from a radio plan to a proven, buildable and judged line."""

__version__ = "0.1.0"
