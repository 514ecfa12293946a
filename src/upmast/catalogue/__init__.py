"""The catalogue: kinds of part, cable families, and the loader of what people write. Import what you need from its module."""
