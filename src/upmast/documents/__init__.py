"""Documents of a line: content as plain data, and writers that know no trade words. Import what you need from its module."""
