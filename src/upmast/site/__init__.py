"""The site: what is asked of a line, as people write it, and its loader."""
